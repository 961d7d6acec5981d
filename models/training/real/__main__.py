"""``python -m models.training real LAB [--plates FOLDER] [--page FILE]``: the gate of real people.

LAB holds ``truth.json`` and ``cam01.mp4`` to ``cam04.mp4``. Joints are found once and kept beside
``--cache``. The exit code is 1 where the gate is not held.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np

from models.contract.tracks import JointTrack
from models.training.real.angles import angle_errors
from models.training.real.correction import AXES
from models.training.real.lab import FRAMES, Laboratory, read_laboratory
from models.training.real.landmarks import BOTH, Error, Seen, errors, held, rms
from models.training.real.page import HEAD, angle_part, landmark_part, share_part
from models.training.real.plates import SUBJECTS, read_walk
from models.training.real.shares import ShareErrors, against_plates
from workers.learned import load

NETWORKS = ("blazepose_heavy", "movenet_thunder")
HIP_LIMIT = 2.0
"""Percent of stature."""
HELD = (0.90, 1.0)
SLOPE, SHARE_ERROR = 0.75, 8.0


def film_track(film: Path, cache: Path) -> JointTrack:
    """Return the joints of a film, every frame by the default networks."""
    from workers.pipeline.film import Film
    from workers.pipeline.progress import PipelineProgress, silent
    from workers.pipeline.stages import networks
    from workers.pose.estimate import estimate
    from workers.video.clip import open_clip
    from workers.video.limits import DecodeLimits

    kept = cache / f"{film.stem}.npz"
    if kept.is_file():
        return JointTrack.from_npz(kept.read_bytes())
    opened = Film(
        lambda indices: open_clip(film, DecodeLimits(), indices=indices, capture_fps=None),
        PipelineProgress(silent),
    )
    opened.open()
    try:
        track = estimate(opened, networks(NETWORKS, "cpu")).track
    finally:
        opened.close()
    cache.mkdir(parents=True, exist_ok=True)
    kept.write_bytes(track.to_npz())
    return track


def seen_in(tracks: Mapping[str, JointTrack]) -> Seen:
    """Return the landmarks of the frames with known joints."""
    return {
        (camera, frame, network): values[int(np.flatnonzero(track.frame_index == frame)[0])]
        for camera, track in tracks.items()
        for frame in FRAMES
        for network, values in track.sources.items()
    }


def failures(found: Sequence[Error], shares: Sequence[ShareErrors]) -> list[str]:
    """Return what of the gate is not held."""
    said: list[str] = []
    for kind in AXES:
        mine = [one for one in found if (one.kind, one.network) == (kind, BOTH)]
        before, after = rms([m.raw for m in mine]), rms([m.left for m in mine])
        if after > before + 0.005:
            said.append(f"the correction makes the {kind} worse: {before:.2f} to {after:.2f} %")
        if kind == "hip" and after >= HIP_LIMIT:
            said.append(f"hip {after:.2f} % of stature after correction, not under {HIP_LIMIT}")
        if not HELD[0] <= held(mine) <= HELD[1]:
            said.append(f"{kind}: stated uncertainty holds {100 * held(mine):.0f} %")
    for share in shares:
        engine = share.name == "by movement (the engine's)" and share.subject != "both"
        if engine and (share.slope < SLOPE or share.error > SHARE_ERROR):
            said.append(
                f"load of {share.subject}: slope {share.slope:.2f}, error {share.error:.1f}"
            )
    return said


def laboratory_parts(laboratory: Laboratory, folder: Path, cache: Path) -> tuple[str, list[Error]]:
    """Return the page's parts on the laboratory films, and the landmarks' errors."""
    landmarks = load().learned.landmarks
    tracks = {c.name: film_track(folder / f"{c.name}.mp4", cache) for c in laboratory.cameras}
    found = errors(laboratory, seen_in(tracks), landmarks)
    bodies = angle_errors(laboratory, tracks, landmarks)
    return landmark_part(found) + "\n" + angle_part(bodies), found


def main(arguments: Sequence[str] | None = None) -> int:
    """Command line; returns the exit code."""
    parser = argparse.ArgumentParser(prog="python -m models.training real")
    parser.add_argument("laboratory", type=Path)
    parser.add_argument("--plates", type=Path)
    parser.add_argument("--page", type=Path)
    parser.add_argument("--cache", type=Path, default=Path("REAL_TRACKS"))
    options = parser.parse_args(arguments)
    laboratory = read_laboratory(options.laboratory / "truth.json")
    text, found = laboratory_parts(laboratory, options.laboratory, options.cache)
    shares: list[ShareErrors] = []
    if options.plates is not None:
        shares = against_plates([read_walk(options.plates, subject) for subject in SUBJECTS])
        text += "\n" + share_part(shares)
    missed = failures(found, shares)
    lines = [f"- {line}" for line in missed] or ["- everything asked for is held"]
    text = f"{HEAD}\n## Not held\n\n" + "\n".join(lines) + f"\n\n{text}"
    if options.page is None:
        print(text)
    else:
        options.page.write_text(text, "utf-8")
    print("\n".join(lines), file=sys.stderr)
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
