"""``servewright bench pose``: the pose stage beside bare networks, and beside another runtime."""

from __future__ import annotations

import json
import os
import subprocess
import tempfile
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from workers.cli.bench.report import JsonOption, Part, Timing, finish
from workers.cli.console import Exit, errors, guarded

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    from workers.pose.choice import Networks

DEFAULT_FRAMES = 120
"""Frames that are timed unless another number is asked for (working value)."""
FilmArgument = Annotated[
    Path, typer.Argument(exists=True, dir_okay=False, help="A film of one serve.")
]
FramesOption = Annotated[int, typer.Option(min=10, help="How many frames to use.")]
RoundsOption = Annotated[int, typer.Option(min=1, help="Rounds; medians are shown.")]


def register(app: typer.Typer) -> None:
    """Add the commands."""
    app.command("pose")(pose)
    app.command("runtime")(runtime)


@dataclass(frozen=True, slots=True)
class KeptCrops:
    """A decoded frame in memory."""

    index: int
    time_s: float
    rgb: npt.NDArray[np.uint8]


def frames_of(file: Path, count: int) -> list[KeptCrops]:
    """Return the first frames of a film."""
    from service.core.settings import Settings
    from workers.jobs.configured import decode_limits
    from workers.video.clip import open_clip

    with open_clip(file, decode_limits(Settings())) as clip:
        kept = [KeptCrops(f.index, f.time_s, f.rgb.copy()) for f in islice(clip, count)]
    if not kept:
        errors().print("The film holds no frames.")
        raise typer.Exit(Exit.CLIP)
    return kept


def opened_networks() -> Networks:
    """Return the networks of the settings."""
    from service.core.settings import Settings
    from workers.pipeline.stages import networks

    settings = Settings()
    return networks(settings.models, settings.device)


@guarded
def pose(
    file: FilmArgument,
    frames: FramesOption = DEFAULT_FRAMES,
    rounds: RoundsOption = 3,
    json: JsonOption = None,
) -> None:
    """Time the pose stage on every frame against a bare loop of the networks on the same crops.

    Frames are decoded first and kept in memory; what is timed is processor time, one thread.
    """
    from workers.pose.bench import measure

    opened = opened_networks()
    kept = frames_of(file, frames)
    cost = measure(kept, opened, rounds)
    case = f"{file.name}, {cost.frames} frames, {' + '.join(opened.names)}"
    figures = [
        Timing(
            *(case, "pose stage, processor time a frame", cost.pipeline_ms, "ms"),
            *("the two networks alone", cost.bare_ms, cost.ratio),
        ),
        Timing(case, "of that, finding people", cost.finder_ms, "ms"),
    ]
    finish(Part("pose", "The pose stage and its bare networks", figures), json)


@guarded
def runtime(
    file: FilmArgument,
    python: Annotated[
        Path,
        typer.Option(
            exists=True,
            dir_okay=False,
            help="Python of an environment with the general-purpose runtime of the BlazePose "
            "networks: pip install mediapipe==0.10.14 there.",
        ),
    ],
    frames: FramesOption = DEFAULT_FRAMES,
    rounds: RoundsOption = 3,
    json: JsonOption = None,
) -> None:
    """Time the pose stage against the general-purpose runtime of the same pose networks.

    The same frames, decoded before, and one core each; what is timed is processor time.
    """
    import numpy as np

    kept = frames_of(file, frames)
    ours = _ours(kept, rounds)
    with tempfile.TemporaryDirectory(prefix="servewright-bench-") as folder:
        raw = Path(folder) / "frames.npy"
        np.save(raw, np.stack([frame.rgb for frame in kept]))
        theirs = _theirs(python, raw, rounds)
    case = f"{file.name}, {len(kept)} frames, one core"
    against = f"full network by {theirs.version}, {theirs.seen} frames with a person"
    figures = [
        Timing(case, f"{what}, a frame", ms, "ms", against, theirs.ms, theirs.ms / ms)
        for what, ms in ours.items()
    ]
    finish(Part("runtime", "The pose stage and another runtime of its networks", figures), json)


def _ours(kept: list[KeptCrops], rounds: int) -> dict[str, float]:
    """Return processor time a frame, ms, by what runs: medians over the rounds."""
    from dataclasses import replace

    import cv2
    import numpy as np

    from workers.engine.windows import worth_a_look
    from workers.pose.bench import seconds
    from workers.pose.choice import BlazePoseVariant
    from workers.pose.estimate import estimate

    cv2.setNumThreads(1)
    opened = opened_networks()
    assert opened.coarse is not None
    alone = replace(
        opened, blazepose=opened.coarse, movenet=None, names=(BlazePoseVariant.FULL.value, "none")
    )

    def inside(stretches: object = None, /) -> list[KeptCrops]:
        if stretches is None:
            return kept
        return [f for f in kept if any(a <= f.time_s <= b for a, b in stretches)]  # type: ignore[attr-defined]

    jobs = {
        "every frame, blazepose_full alone": lambda: estimate(inside, alone),
        f"every frame, {' + '.join(opened.names)}": lambda: estimate(inside, opened),
        "from coarse to fine, the default": lambda: estimate(
            inside, opened, worth_a_look=worth_a_look
        ),
    }
    affinity = os.sched_getaffinity(0)
    os.sched_setaffinity(0, {min(affinity)})
    try:
        times = [[seconds(job) for job in jobs.values()] for _ in range(rounds)]
    finally:
        os.sched_setaffinity(0, affinity)
    medians = np.median(times, axis=0) / len(kept) * 1e3
    return dict(zip(jobs, medians.tolist(), strict=True))


@dataclass(frozen=True, slots=True)
class _Theirs:
    version: str
    ms: float
    seen: int


def _theirs(python: Path, frames: Path, rounds: int) -> _Theirs:
    script = Path(__file__).with_name("other_runtime.py")
    done = subprocess.run(
        [str(python), str(script), str(frames), str(rounds)],
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode != 0:
        errors().print(done.stderr[-2000:], markup=False)
        raise typer.BadParameter("The other runtime did not run; its last words are above.")
    found = json.loads(done.stdout.splitlines()[-1])
    return _Theirs(found["version"], float(found["ms"]), int(found["seen"]))
