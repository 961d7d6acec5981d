"""``servewright bench``: what the pose stage costs beside the bare networks."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from workers.cli.console import Exit, errors, guarded, results

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

DEFAULT_FRAMES = 120
"""Frames that are timed unless another number is asked for (working value)."""


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("bench")(bench)


@dataclass(frozen=True, slots=True)
class _Kept:
    index: int
    time_s: float
    rgb: npt.NDArray[np.uint8]


@guarded
def bench(
    file: Annotated[Path, typer.Argument(exists=True, dir_okay=False, help="A film of a serve.")],
    frames: Annotated[int, typer.Option(min=10, help="How many frames to use.")] = DEFAULT_FRAMES,
    rounds: Annotated[int, typer.Option(min=1, help="Rounds; medians are shown.")] = 3,
) -> None:
    """Time pose per frame against the bare onnxruntime loop on the same crops, one thread.

    Frames are decoded first and kept in memory; what is timed is processor time.
    """
    from itertools import islice

    from service.core.settings import Settings
    from workers.jobs.configured import decode_limits
    from workers.pipeline.stages import networks
    from workers.pose.bench import measure
    from workers.pose.choice import FINDER
    from workers.video.clip import open_clip

    settings = Settings()
    opened = networks(settings.models, settings.device)
    with open_clip(file, decode_limits(settings)) as clip:
        kept = [_Kept(f.index, f.time_s, f.rgb.copy()) for f in islice(clip, frames)]
    if not kept:
        errors().print("The film holds no frames.")
        raise typer.Exit(Exit.CLIP)
    cost = measure(kept, opened, rounds)
    console = results()
    console.print(f"networks        {', '.join(opened.names)}, finder {FINDER}")
    console.print(f"frames          {cost.frames}, {cost.rounds} rounds, medians, processor time")
    console.print(f"pose stage      {cost.pipeline_ms:8.2f} ms/frame")
    console.print(f"bare networks   {cost.bare_ms:8.2f} ms/frame")
    console.print(f"finder          {cost.finder_ms:8.2f} ms/frame (part of the pose stage)")
    console.print(f"ratio           {cost.ratio:8.3f} of the bare rate")
