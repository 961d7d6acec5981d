"""The progress bar of a command-line analysis: stage, share and time left."""

from __future__ import annotations

from types import TracebackType
from typing import Self

from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn

from models.contract.vocabulary import Stage
from workers.pipeline.time_left import TimeLeft

STAGE_TITLES: dict[Stage, str] = {
    Stage.PROBE: "Reading the file",
    Stage.DECODE: "Decoding",
    Stage.POSE: "Finding the joints",
    Stage.SERVE: "Measuring the serves",
    Stage.PICTURES: "Drawing pictures",
    Stage.STORE: "Writing results",
}


class Bar:
    """Context manager; call it with (stage, share done). Shows nothing off a terminal.

    Off a terminal each stage is one line, so that logs stay short.

    Parameters
    ----------
    left : TimeLeft
        Of the analysis; shown while it knows something.
    """

    def __init__(self, console: Console, left: TimeLeft) -> None:
        self._console = console
        self._left = left
        self._live = console.is_terminal
        self._stage: Stage | None = None
        self._progress = Progress(
            TextColumn("{task.description:<22}"),
            BarColumn(),
            TextColumn("{task.percentage:>3.0f}%"),
            TextColumn("{task.fields[left]}"),
            console=console,
            transient=True,
            disable=not self._live,
        )
        self._task = self._progress.add_task("Starting", total=1.0, left="")

    def __enter__(self) -> Self:
        self._progress.start()
        return self

    def __exit__(
        self,
        _kind: type[BaseException] | None,
        _error: BaseException | None,
        _trace: TracebackType | None,
    ) -> None:
        self._progress.stop()

    def __call__(self, stage: Stage, done: float) -> None:
        """Show how far the analysis is."""
        title = STAGE_TITLES[stage]
        if not self._live and stage != self._stage:
            self._console.print(f"{title} …", markup=False)
        self._stage = stage
        left = time_text(self._left.seconds)
        self._progress.update(self._task, description=title, completed=done, left=left)


def time_text(seconds: float | None) -> str:
    """Return a time left in words short enough for the bar."""
    if seconds is None:
        return ""
    whole = round(seconds)
    return f"about {whole // 60} min {whole % 60:02d} s left" if whole >= 60 else f"{whole} s left"
