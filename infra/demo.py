"""Walks the main job through a service of its own and prints the result. Run by ``demo.sh``."""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import queue
import re
import secrets
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO, Any

import httpx
from rich.console import Console

from models.contract.analysis import Analysis
from models.words import english
from workers.cli.summary import show_analysis
from workers.processes import tether

PROJECT = Path(__file__).resolve().parent.parent
FILM = PROJECT / "tests" / "data" / "rendered" / "000.mp4"
RECEIVER = PROJECT / "infra" / "examples" / "receiver.py"
OUT = PROJECT / "out" / "demo"
START_S = 120.0
ANALYSIS_S = 900.0
WEBHOOK_S = 60.0

console = Console(highlight=False, soft_wrap=True, width=None if sys.stdout.isatty() else 110)


class DemoFailed(Exception):
    """A step of the demonstration did not work."""


def say(text: str) -> None:
    """Print one step."""
    console.print(f"• {text}", markup=False)


def free_port() -> int:
    """Return a port of this machine that is free now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def lines_of(stream: IO[bytes]) -> queue.Queue[str | None]:
    """Return a queue that receives the lines of a stream, then None."""
    lines: queue.Queue[str | None] = queue.Queue()

    def read() -> None:
        for line in stream:
            lines.put(line.decode(errors="replace").rstrip())
        lines.put(None)

    threading.Thread(target=read, daemon=True).start()
    return lines


def wait_for_line(lines: queue.Queue[str | None], pattern: str, seconds: float, what: str) -> str:
    """Return the first group of the first line that matches."""
    end = time.monotonic() + seconds
    while (left := end - time.monotonic()) > 0:
        try:
            line = lines.get(timeout=left)
        except queue.Empty:
            break
        if line is None:
            break
        if found := re.search(pattern, line):
            return found.group(1)
    raise DemoFailed(f"No {what}.")


@contextmanager
def program(
    command: list[str], environment: dict[str, str], log: Path, grace_s: float
) -> Iterator[queue.Queue[str | None]]:
    """Run a program as long as the block; yield the lines of its standard output."""
    with log.open("wb") as errors:
        child = tether.spawn(
            command, environment=environment, output=subprocess.PIPE, errors=errors
        )
    assert child.stdout is not None
    try:
        yield lines_of(child.stdout)
    finally:
        tether.stop(child, grace_s)


def service_environment(data: Path, port: int) -> dict[str, str]:
    """Return an environment in which a service starts embedded and may call this machine."""
    kept = {name: value for name, value in os.environ.items() if "SERVEWRIGHT_" not in name}
    return kept | {
        "SERVEWRIGHT_DATA_DIR": str(data),
        "SERVEWRIGHT_PORT": str(port),
        "SERVEWRIGHT_WEBHOOK_ALLOW_HTTP": "true",
        "SERVEWRIGHT_WEBHOOK_PRIVATE_NETWORKS": '["127.0.0.0/8"]',
    }


def expect(answer: httpx.Response, *statuses: int) -> Any:
    """Return the JSON of an answer, or fail with its problem."""
    if answer.status_code not in statuses:
        raise DemoFailed(
            f"{answer.request.method} {answer.request.url.path} answered {answer.status_code}: "
            f"{answer.text[:500]}"
        )
    return answer.json()


def follow(client: httpx.Client, analysis_id: str) -> dict[str, Any]:
    """Wait for an analysis; say how far it is."""
    end = time.monotonic() + ANALYSIS_S
    shown = ""
    while time.monotonic() < end:
        state = expect(client.get(f"/v1/analyses/{analysis_id}"), 200)
        stage = f"{state['status']}{', ' + state['stage'] if state['stage'] else ''}"
        text = f"{stage}, {state['progress']:.0%}"
        if text != shown:
            say(text)
            shown = text
        if state["status"] == "completed":
            return dict(state)
        if state["status"] in ("failed", "cancelled"):
            raise DemoFailed(f"The analysis {state['status']}: {json.dumps(state['problem'])}")
        time.sleep(1.0)
    raise DemoFailed(f"The analysis did not end within {ANALYSIS_S:.0f} s.")


def fetch_files(client: httpx.Client, state: dict[str, Any], out: Path) -> None:
    """Fetch all results and pictures into a folder."""
    shutil.rmtree(out, ignore_errors=True)
    (out / "pictures").mkdir(parents=True)
    for name in ("result", "events", "metrics", "joints", "joints.npz"):
        answer = client.get(state["links"][name])
        answer.raise_for_status()
        file = name if "." in name else f"{name}.json"
        (out / file).write_bytes(answer.content)
    for link in state["pictures"]:
        answer = client.get(link)
        answer.raise_for_status()
        (out / "pictures" / link.rsplit("/", 1)[1]).write_bytes(answer.content)


def walk(film: Path, out: Path, work: Path) -> None:
    """Start a service, send the film, receive the webhook, print the result."""
    port, receiver_port = free_port(), free_port()
    environment = service_environment(work / "data", port)
    up = tether.module("workers.cli", "up")
    say("Starting API, workers, queue, database and object store (all embedded)")
    with program(up, environment, work / "service.log", 30.0) as lines:
        found = wait_for_line(lines, r"Admin API key.*?(/.*)", START_S, "file of the admin key")
        key = Path(found).read_text().strip()
        client = httpx.Client(
            base_url=f"http://127.0.0.1:{port}",
            headers={"authorization": f"Bearer {key}"},
            timeout=60.0,
            trust_env=False,
        )
        with client:
            say(f"API at {client.base_url}, documentation at {client.base_url}/docs")
            hook = f"http://127.0.0.1:{receiver_port}/"
            endpoint = expect(client.post("/v1/webhook-endpoints", json={"url": hook}), 201)
            receiver = [sys.executable, str(RECEIVER), "--port", str(receiver_port)]
            secret = {"WEBHOOK_SECRET": endpoint["secret"]}
            with program(receiver, environment | secret, work / "receiver.log", 5.0) as events:
                wait_for_line(events, r"(listening)", 30.0, "webhook receiver")
                analyse(client, film, out, events)


def analyse(client: httpx.Client, film: Path, out: Path, events: queue.Queue[str | None]) -> None:
    """Upload, analyse, receive the event, fetch and show the result."""
    digest = hashlib.sha256(film.read_bytes()).hexdigest()
    with film.open("rb") as stream:
        form = {"sha256": digest}
        answer = client.post(
            "/v1/clips", files={"file": (film.name, stream, "video/mp4")}, data=form
        )
    clip = expect(answer, 200, 201)
    say(f"Uploaded {film.name} as {clip['id']}")
    answer = client.post(
        "/v1/analyses",
        json={"clip_id": clip["id"]},
        headers={"idempotency-key": secrets.token_hex(16)},
    )
    analysis_id = str(expect(answer, 200, 201, 202)["id"])
    state = follow(client, analysis_id)
    missing = {"analysis.first_look", "analysis.completed"}  # order is not promised
    while missing:
        event = json.loads(wait_for_line(events, r"^(\{.*\})$", WEBHOOK_S, "verified webhook"))
        if event["type"] not in missing or event["data"]["id"] != analysis_id:
            raise DemoFailed(f"The webhook tells of something else: {event['type']}.")
        missing.remove(event["type"])
        say(f"Received webhook {event['id']} ({event['type']}); its signature is right")
    fetch_files(client, state, out)
    result = Analysis.model_validate_json((out / "result.json").read_bytes())
    if not result.repetitions:
        raise DemoFailed("No serve was found in the film.")
    console.print()
    show_analysis(result, console, english())
    console.print()
    say(f"Pictures: {out / 'pictures'}")
    say(f"JSON:     {out / 'result.json'} (beside it events, metrics, joints)")


def main() -> int:
    """Run the demonstration; return the exit code."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("film", nargs="?", type=Path, default=FILM)
    parser.add_argument("--out", type=Path, default=OUT, help="where results are put")
    chosen = parser.parse_args()
    if not chosen.film.is_file():
        console.print(f"There is no film {chosen.film}.", markup=False)
        return 2
    # Stop in order on SIGTERM too.
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(143))
    with tempfile.TemporaryDirectory(prefix="servewright-demo-") as folder:
        work = Path(folder)
        try:
            walk(chosen.film, chosen.out, work)
        except (DemoFailed, httpx.HTTPError, OSError) as error:
            console.print(f"The demonstration failed: {error}", style="bold red", markup=False)
            for log in sorted(work.glob("*.log")):
                tail = log.read_text(errors="replace").splitlines()[-30:]
                console.print(f"--- end of {log.name}", *tail, sep="\n", markup=False)
            return 1
        except KeyboardInterrupt:
            console.print("Stopped.")
            return 130
    say("Everything that was started is stopped.")
    return 0


if __name__ == "__main__":
    sys.exit(main())
