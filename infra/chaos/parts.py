"""API and workers of a service, started again when they end."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Mapping
from pathlib import Path
from typing import IO

import httpx

PROGRAM = (sys.executable, "-P", "-m", "workers.cli")


def environment_of(values: Mapping[str, str]) -> dict[str, str]:
    """Return the environment of a service with these settings and no others."""
    kept = {name: value for name, value in os.environ.items() if "SERVEWRIGHT_" not in name}
    for name, value in values.items():
        plain = name in ("TMPDIR", "AWS_MAX_ATTEMPTS")
        kept[name if plain else f"SERVEWRIGHT_{name}"] = value
    return kept


class Parts:
    """API (with its sender and reconciler) and workers (with theirs)."""

    def __init__(self, environment: dict[str, str], workers: int, log: IO[bytes]) -> None:
        self._environment, self._log = environment, log
        self._commands = {
            "api": [*PROGRAM, "api"],
            "workers": [*PROGRAM, "worker", "-n", str(workers)],
        }
        self.running: dict[str, subprocess.Popen[bytes]] = {}

    def keep(self) -> None:
        """Start what does not run."""
        for name, command in self._commands.items():
            if name not in self.running or self.running[name].poll() is not None:
                self.running[name] = subprocess.Popen(
                    command, env=self._environment, stdout=self._log, stderr=self._log
                )

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
                child.wait(60)
            except subprocess.TimeoutExpired:
                child.kill()


def patiently(client: httpx.Client, method: str, path: str, **more: object) -> httpx.Response:
    """Ask until there is an answer that is none of the service's own failures: parts are killed."""
    end = time.monotonic() + 180
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
