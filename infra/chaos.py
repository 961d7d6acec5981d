"""Analyses while parts of the service are killed at random; counts what was lost or told twice.

    python infra/chaos.py --films 200 --database-url postgresql://… --redis-url redis://…/9

Needs an empty database and a Redis database of its own, which it empties. It starts API and
workers, sends short films, kills workers, jobs, decoders and the API, flushes Redis, and waits
until all has ended. A receiver counts webhooks. Exit code 1 when anything is lost or doubled.
"""

from __future__ import annotations

import argparse
import collections
import json
import os
import random
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
from fractions import Fraction
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import av
import httpx
import numpy as np
import redis

LONGEST_S = 3000.0
"""Longest run, seconds."""
EVERY_S = (5.0, 15.0)
"""Shortest and longest pause between two harms, seconds: workers take some to start."""
FINAL = {"completed", "failed", "cancelled"}


def film(path: Path, seed: int) -> Path:
    """Write a second of an empty court, each unlike the others."""
    noise = np.random.default_rng(seed)
    with av.open(str(path), "w") as container:
        stream = container.add_stream("libx264", rate=Fraction(30), options={"preset": "ultrafast"})
        stream.width, stream.height, stream.pix_fmt = 320, 240, "yuv420p"
        for _ in range(30):
            picture = noise.integers(90, 130, (240, 320, 3), dtype=np.uint8)
            container.mux(stream.encode(av.VideoFrame.from_ndarray(picture, format="rgb24")))
        container.mux(stream.encode(None))
    return path


class Receiver:
    """Takes webhooks and counts the ids of each event."""

    def __init__(self) -> None:
        self.ids: dict[tuple[str, str], set[str]] = collections.defaultdict(set)
        receiver = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                event = json.loads(self.rfile.read(int(self.headers["content-length"])))
                key = (event["type"], event.get("subject", ""))
                receiver.ids[key].add(self.headers["webhook-id"])
                self.send_response(204)
                self.end_headers()

            def log_message(self, *_arguments: object) -> None:
                pass

        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        threading.Thread(target=self.server.serve_forever, daemon=True).start()


class Parts:
    """API and workers, started again when they end."""

    def __init__(self, environment: dict[str, str], workers: int) -> None:
        self._environment = environment
        program = [sys.executable, "-P", "-m", "workers.cli"]
        self._commands = {
            "api": [*program, "api"],
            "workers": [*program, "worker", "-n", str(workers)],
        }
        self.running: dict[str, subprocess.Popen[bytes]] = {}

    def keep(self) -> None:
        """Start what does not run."""
        for name, command in self._commands.items():
            if name not in self.running or self.running[name].poll() is not None:
                self.running[name] = subprocess.Popen(command, env=self._environment)

    def descendants(self) -> dict[int, str]:
        """Return the processes below the workers' supervisor: worker, job or decoder."""
        found: dict[int, str] = {}
        waiting = [(self.running["workers"].pid, 0)]
        while waiting:
            pid, depth = waiting.pop()
            for task in Path(f"/proc/{pid}/task").glob("*/children"):
                try:
                    children = [int(word) for word in task.read_text().split()]
                except OSError:
                    continue
                for child in children:
                    found[child] = ("worker", "job", "decoder")[min(depth, 2)]
                    waiting.append((child, depth + 1))
        return found

    def stop(self) -> None:
        """Stop both."""
        for child in self.running.values():
            child.terminate()
        for child in self.running.values():
            try:
                child.wait(40)
            except subprocess.TimeoutExpired:
                child.kill()


def harm(parts: Parts, queue: redis.Redis, dice: random.Random) -> str:
    """Do one harm; return what it was."""
    kind = dice.choice(["worker", "job", "decoder", "decoder", "supervisor", "api", "flush"])
    if kind == "flush":
        queue.flushdb()
    elif kind in ("api", "supervisor"):
        parts.running["api" if kind == "api" else "workers"].kill()
    else:
        below = [pid for pid, what in parts.descendants().items() if what == kind]
        if not below:
            return "nothing"
        try:
            os.kill(dice.choice(below), signal.SIGKILL)
        except ProcessLookupError:
            return "nothing"
    return kind


def patiently(client: httpx.Client, method: str, path: str, **more: object) -> httpx.Response:
    """Ask until there is an answer: the API is killed, too."""
    end = time.monotonic() + 120
    while True:
        try:
            answer = client.request(method, path, **more)  # type: ignore[arg-type]
            if answer.status_code < 500:
                return answer
        except httpx.TransportError:
            pass
        if time.monotonic() > end:
            raise TimeoutError(path)
        time.sleep(0.2)


def run(arguments: argparse.Namespace, folder: Path) -> bool:
    """Run it; return whether nothing was lost and nothing doubled."""
    with socket.create_server(("127.0.0.1", 0)) as probe:
        port = probe.getsockname()[1]
    values = {
        "DATA_DIR": str(folder),
        "DATABASE_URL": arguments.database_url,
        "REDIS_URL": arguments.redis_url,
        "PORT": str(port),
        "MODELS": '["blazepose_full"]',
        "LEASE_S": "5",
        "HEARTBEAT_S": "1",
        "RECONCILE_INTERVAL_S": "1",
        "REQUEUE_AFTER_S": "3",
        "MAX_ATTEMPTS": "50",
        "WEBHOOK_ALLOW_HTTP": "true",
        "WEBHOOK_PRIVATE_NETWORKS": '["127.0.0.0/8"]',
        "LOG_LEVEL": "error",
    }
    environment = {name: value for name, value in os.environ.items() if "SERVEWRIGHT_" not in name}
    environment |= {f"SERVEWRIGHT_{name}": value for name, value in values.items()}
    program = [sys.executable, "-P", "-m", "workers.cli"]
    subprocess.run([*program, "migrate"], env=environment, check=True)
    receiver, dice = Receiver(), random.Random(arguments.seed)
    parts = Parts(environment, arguments.workers)
    queue = redis.Redis.from_url(arguments.redis_url)
    harms: collections.Counter[str] = collections.Counter()
    began = time.monotonic()
    parts.keep()
    client = httpx.Client(base_url=f"http://127.0.0.1:{port}", trust_env=False, timeout=20)
    ids: list[str] = []
    states: dict[str, str] = {}
    seed = 0
    try:
        while not (folder / "first-admin-key").exists():
            time.sleep(0.2)
        patiently(client, "GET", "/livez")
        key = (folder / "first-admin-key").read_text().strip()
        client.headers["authorization"] = f"Bearer {key}"
        port_there = receiver.server.server_address[1]
        hook = {"url": f"http://127.0.0.1:{port_there}/"}
        patiently(client, "POST", "/v1/webhook-endpoints", json=hook)
        next_harm = time.monotonic() + 5
        while time.monotonic() - began < LONGEST_S:
            parts.keep()
            if len(ids) < arguments.films:
                content = film(folder / "film.mp4", seed).read_bytes()
                again = {"idempotency-key": f"film-{seed}"}
                seed += 1
                media = {"content-type": "video/mp4"}
                clip = patiently(client, "POST", "/v1/clips", content=content, headers=media)
                body = {"clip_id": clip.json()["id"]}
                made = patiently(client, "POST", "/v1/analyses", json=body, headers=again)
                ids.append(made.json()["id"])
            open_ids = [one for one in ids if states.get(one, "") not in FINAL]
            for one in open_ids[:20]:
                answer = patiently(client, "GET", f"/v1/analyses/{one}").json()
                states[one] = answer["status"]
            ended = [one for one in ids if states.get(one, "") in FINAL]
            told = [one for one in ids if receiver.ids[("analysis.completed", one)]]
            if len(ended) == len(told) == arguments.films:
                break
            calm = len(ended) >= arguments.films
            if not calm and time.monotonic() >= next_harm:
                harms[harm(parts, queue, dice)] += 1
                next_harm = time.monotonic() + dice.uniform(*EVERY_S)
            time.sleep(0.1)
    finally:
        parts.stop()
        client.close()
    count = collections.Counter(states.get(one, "lost") for one in ids)
    doubled = [key for key, found in receiver.ids.items() if len(found) > 1]
    missing = [one for one in ids if not receiver.ids[("analysis.completed", one)]]
    print(f"{len(ids)} analyses in {time.monotonic() - began:.0f} s: {dict(count)}")
    print(f"harms: {dict(harms)}")
    print(f"webhooks: {len(missing)} missing, {len(doubled)} with more than one id")
    return count == {"completed": arguments.films} and not doubled and not missing


def main() -> int:
    """Command line of this module."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--films", type=int, default=200)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--database-url", required=True)
    parser.add_argument("--redis-url", required=True)
    arguments = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="servewright-chaos-") as folder:
        return 0 if run(arguments, Path(folder)) else 1


if __name__ == "__main__":
    sys.exit(main())
