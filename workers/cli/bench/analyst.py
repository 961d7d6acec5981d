"""A process that analyses films on demand and says what each cost: one thread, like a worker.

It reads one JSON object a line and answers with one.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path
from resource import RUSAGE_CHILDREN, RUSAGE_SELF, getrusage
from types import TracebackType
from typing import Any, Self

from workers.processes.threads import SINGLE_THREAD, limit_threads

NO_LIMITS = {
    "SERVEWRIGHT_MAX_CLIP_DURATION_S": "100000",
    "SERVEWRIGHT_MAX_CLIP_FRAMES": "10000000",
    "SERVEWRIGHT_DECODE_CPU_S": "100000",
    "SERVEWRIGHT_DECODE_WALL_S": "100000",
}
"""Settings with which long films are not refused."""
START = "from workers.cli.bench.analyst import main; main()"


@dataclass(frozen=True, slots=True)
class FilmCost:
    """What one analysis cost.

    Attributes
    ----------
    wall_s, cpu_s : float
        Wall time, and processor time with that of the decoding processes.
    first_look_s : float or None
        Wall time until the verdict of the first look.
    stages_s : dict
        Wall time by stage.
    serves : int
    values : dict
        (value, standard uncertainty) by repetition, metric and event.
    """

    wall_s: float
    cpu_s: float
    first_look_s: float | None
    stages_s: dict[str, float]
    serves: int
    values: dict[str, tuple[float, float]]


class Analyst:
    """Context manager around such a process.

    Parameters
    ----------
    beside : bool
        Run the second network in a thread of its own, as a worker does.
    """

    def __init__(self, *, beside: bool = True) -> None:
        self._child = subprocess.Popen(
            [sys.executable, "-P", "-c", START],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            cwd=Path(__file__).resolve().parents[3],
            env={
                **os.environ,
                **SINGLE_THREAD,
                **NO_LIMITS,
                "SERVEWRIGHT_SECOND_NETWORK_BESIDE": str(int(beside)),
                "PYTHONPATH": os.pathsep.join(
                    [str(Path(__file__).resolve().parents[3]), os.environ.get("PYTHONPATH", "")]
                ),
            },
        )
        self._answer()  # it is ready

    @property
    def pid(self) -> int:
        """Its process id."""
        return self._child.pid

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        _kind: type[BaseException] | None,
        _error: BaseException | None,
        _trace: TracebackType | None,
    ) -> None:
        assert self._child.stdin is not None
        self._child.stdin.close()
        self._child.wait()

    def start(self, film: Path, *, every_frame: bool = False) -> None:
        """Begin an analysis."""
        assert self._child.stdin is not None
        asked = {"film": str(film.resolve()), "every_frame": every_frame}
        self._child.stdin.write(json.dumps(asked) + "\n")
        self._child.stdin.flush()

    def cost(self) -> FilmCost:
        """Wait for the analysis that was begun."""
        answer = self._answer()
        values = {name: (pair[0], pair[1]) for name, pair in answer.pop("values").items()}
        return FilmCost(**answer, values=values)

    def analyse(self, film: Path, *, every_frame: bool = False) -> FilmCost:
        """Analyse a film."""
        self.start(film, every_frame=every_frame)
        return self.cost()

    def _answer(self) -> dict[str, Any]:
        assert self._child.stdout is not None
        line = self._child.stdout.readline()
        if not line:
            raise RuntimeError(f"the measuring process ended with code {self._child.wait()}")
        answer: dict[str, Any] = json.loads(line)
        return answer


def _spent_s() -> float:
    ours, ended = getrusage(RUSAGE_SELF), getrusage(RUSAGE_CHILDREN)
    return ours.ru_utime + ours.ru_stime + ended.ru_utime + ended.ru_stime


def main() -> None:
    """Answer until the input ends."""
    limit_threads()
    import cv2

    from service.core.settings import Settings
    from workers.engine.interface import EngineRequest
    from workers.jobs.configured import decode_limits
    from workers.pipeline import run as pipeline
    from workers.pipeline.result_files import result_files
    from workers.pipeline.stages import StageChoice, build_stages

    cv2.setNumThreads(1)
    settings = Settings()
    stages = {
        every: build_stages(
            StageChoice(
                settings.models,
                settings.device,
                decode_limits(settings),
                every_frame=every,
                beside=settings.second_network_beside,
            )
        )
        for every in (False, True)
    }
    answers = sys.stdout
    sys.stdout = sys.stderr
    print("{}", file=answers, flush=True)
    for line in sys.stdin:
        asked = json.loads(line)
        told: list[float] = []
        start, spent = time.perf_counter(), _spent_s()
        result = pipeline.run(
            Path(asked["film"]),
            EngineRequest(seed=settings.engine_seed),
            stages[asked["every_frame"]],
            first_look=lambda _verdict, at=told, t=start: at.append(time.perf_counter() - t),  # type: ignore[misc]
        )
        for _file in result_files(result):
            pass
        answer = {
            "wall_s": time.perf_counter() - start,
            "cpu_s": _spent_s() - spent,
            "first_look_s": told[0] if told else None,
            "stages_s": {stage.value: seconds for stage, seconds in result.timings_s.items()},
            "serves": len(result.analysis.repetitions),
            "values": {
                f"{number}/{one.key}/{one.event}": (one.value, (one.high - one.low) / 3.92)
                for number, repetition in enumerate(result.analysis.repetitions)
                for one in repetition.metrics
                if one.value is not None and one.low is not None and one.high is not None
            },
        }
        print(json.dumps(answer), file=answers, flush=True)
