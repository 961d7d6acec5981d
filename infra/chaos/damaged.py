"""Damaged films through whole workers, with sound ones between them, while decoders are killed.

Whatever is wrong with a film must be said of the film, in a typed problem; whatever the machine
did (a killed decoder) must not. A sound film must be analysed whatever happens around it.
"""

from __future__ import annotations

import argparse
import collections
import itertools
import os
import random
import signal
import subprocess
import time
from pathlib import Path

import av
import httpx
import numpy as np

from infra.chaos.damage import MUTATORS
from infra.chaos.parts import PROGRAM, Parts, environment_of
from infra.chaos.postgres import free_port

FILMS = Path(__file__).resolve().parents[2] / "tests" / "data" / "rendered"
FRAMES = 12
"""Frames of each film that are kept, so that a run takes minutes."""
SOUND_EACH = 10
"""Every so many films, one that is not damaged."""
KILL_EACH_S = (3.0, 9.0)
"""Shortest and longest pause between two killed decoders, seconds."""
PATIENCE_S = 120.0
"""How long the last films are waited for when the time is over, seconds."""
FINAL = {"completed", "failed", "cancelled"}


def beginnings(folder: Path) -> list[bytes]:
    """Return the first frames of each committed film, its packets as they are."""
    found = []
    cut = folder / "cut.mp4"
    for number, path in enumerate(sorted(FILMS.glob("*.mp4"))):
        options = {"movflags": "faststart"} if number % 2 else {}  # the index before or after
        with av.open(str(path)) as source, av.open(str(cut), "w", options=options) as made:
            stream = made.add_stream_from_template(source.streams.video[0])
            for packet in itertools.islice(source.demux(source.streams.video[0]), FRAMES):
                packet.stream = stream
                made.mux(packet)
        found.append(cut.read_bytes())
    return found


class Counted:
    """What came of each film."""

    def __init__(self) -> None:
        self.outcomes: collections.Counter[str] = collections.Counter()
        self.by_kind: dict[str, collections.Counter[str]] = collections.defaultdict(
            collections.Counter
        )
        self.machine: list[str] = []
        """Damaged films that ended with a problem of the service's own (status 500 or more)."""
        self.blamed: list[str] = []
        """Sound films that did not complete."""
        self.late = 0
        """Films whose end was not waited for."""
        self.faults = 0
        """Answers of the API of 500 or more."""

    def ended(self, kind: str, outcome: str, status: int) -> None:
        """Note one film."""
        self.outcomes[outcome] += 1
        self.by_kind[kind][outcome] += 1
        if kind == "sound" and outcome != "completed":
            self.blamed.append(outcome)
        elif status >= 500:
            self.machine.append(f"{kind}: {outcome}")


def run(arguments: argparse.Namespace, folder: Path) -> bool:
    """Run it and print what came of it; return whether nothing broke and nobody was blamed."""
    port = free_port()
    values = {
        "DATA_DIR": str(folder),
        "REDIS_URL": arguments.redis_url,
        "PORT": str(port),
        "MODELS": '["blazepose_full"]',
        "RECONCILE_INTERVAL_S": "1",
        "MAX_ATTEMPTS": "50",
        "LOG_LEVEL": "warning",
    }
    environment = environment_of(values)
    subprocess.run([*PROGRAM, "migrate"], env=environment, check=True)
    log = (folder / "service.log").open("wb")
    parts = Parts(environment, arguments.workers, log)
    parts.keep()
    counted, killed = Counted(), 0
    workers: set[int] = set()
    began = time.monotonic()
    try:
        while not (folder / "first-admin-key").exists():
            time.sleep(0.2)
        key = (folder / "first-admin-key").read_text().strip()
        headers = {"authorization": f"Bearer {key}"}
        with httpx.Client(
            base_url=f"http://127.0.0.1:{port}", headers=headers, timeout=120, trust_env=False
        ) as client:
            while True:
                try:
                    if client.get("/livez").status_code == 200:
                        break
                except httpx.TransportError:
                    time.sleep(0.2)
            killed = _send_all(arguments, client, parts, counted, workers, beginnings(folder))
    finally:
        parts.stop()
        log.close()
    said = (folder / "service.log").read_text(errors="replace")
    # One for short work comes on top.
    deaths = len(workers) - (arguments.workers + 1)
    horses = said.count("terminated unexpectedly")
    traces = said.count("Traceback")
    print(f"{sum(counted.outcomes.values())} films in {time.monotonic() - began:.0f} s")
    for kind, found in sorted(counted.by_kind.items()):
        print(f"  {kind}: {dict(found.most_common())}")
    print(f"decoders killed: {killed}")
    print(f"worker deaths: {deaths}; jobs that ended unexpectedly: {horses}; traces: {traces}")
    internal = counted.outcomes["internal_error"]
    print(f"internal errors: {internal}; answers of 500 or more: {counted.faults}")
    print(f"damaged films held against the machine: {counted.machine or 'none'}")
    print(f"sound films that did not complete: {counted.blamed or 'none'}")
    if arguments.log:
        Path(arguments.log).write_text(said)
    if counted.late:
        print(f"still under way when the time was over: {counted.late}")
    whole = sum(counted.outcomes.values()) == arguments.films
    return whole and not (
        deaths or horses or internal or counted.faults or counted.machine or counted.blamed
    )


def _send_all(
    arguments: argparse.Namespace,
    client: httpx.Client,
    parts: Parts,
    counted: Counted,
    workers: set[int],
    films: list[bytes],
) -> int:
    """Send all films and wait for their ends; return how many decoders were killed."""
    dice, choice = np.random.default_rng(arguments.seed), random.Random(arguments.seed)
    kinds = list(MUTATORS)
    under_way: dict[str, str] = {}
    sent = killed = 0
    end = time.monotonic() + arguments.longest_s
    next_kill = time.monotonic() + KILL_EACH_S[1]
    while (sent < arguments.films or under_way) and time.monotonic() < end + PATIENCE_S:
        while (
            time.monotonic() < end
            and sent < arguments.films
            and len(under_way) < 4 * arguments.workers
        ):
            film, other = (films[int(at)] for at in dice.integers(len(films), size=2))
            kind = "sound" if sent % SOUND_EACH == 0 else kinds[sent % len(kinds)]
            # A free box (ISO/IEC 14496-12 8.1.2) makes each unlike the others.
            tag = b"\x00\x00\x00\x10free" + sent.to_bytes(8, "big")
            data = film + tag if kind == "sound" else MUTATORS[kind](film, other, dice) + tag
            sent += 1
            analysis = _send(client, kind, data, counted)
            if analysis is not None:
                under_way[analysis] = kind
        below = parts.descendants()
        workers |= {pid for pid, what in below.items() if what == "worker"}
        decoders = [pid for pid, what in below.items() if what == "decoder"]
        if decoders and time.monotonic() >= next_kill:
            try:
                os.kill(choice.choice(decoders), signal.SIGKILL)
                killed += 1
            except ProcessLookupError:
                pass
            next_kill = time.monotonic() + choice.uniform(*KILL_EACH_S)
        for analysis, kind in list(under_way.items()):
            state = client.get(f"/v1/analyses/{analysis}").json()
            if state["status"] in FINAL:
                problem = state["problem"] or {}
                counted.ended(kind, problem.get("code", state["status"]), problem.get("status", 0))
                del under_way[analysis]
        time.sleep(0.2)
    counted.late = len(under_way)
    return killed


def _send(client: httpx.Client, kind: str, data: bytes, counted: Counted) -> str | None:
    """Send one film; return its analysis, or None where it was refused at once."""
    media = {"content-type": "video/mp4"}
    clip = client.post("/v1/clips", content=data, headers=media)
    if clip.status_code >= 400:
        counted.faults += clip.status_code >= 500
        counted.ended(kind, f"refused: {clip.json()['code']}", clip.status_code)
        return None
    made = client.post("/v1/analyses", json={"clip_id": clip.json()["id"]})
    if made.status_code >= 400:
        counted.faults += made.status_code >= 500
        counted.ended(kind, f"refused: {made.json()['code']}", made.status_code)
        return None
    return str(made.json()["id"])
