"""The figures of the real gate as a page."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from models.training.real.angles import AngleError
from models.training.real.correction import AXES
from models.training.real.landmarks import BOTH, Error, held, rms
from models.training.real.shares import ShareErrors

HEAD = """# Real people

Written by `python -m models.training real LAB --plates PLATES --page infra/accuracy/real.md`. One
man with markers before four calibrated cameras (BSD-3-Clause, 2022 perfanalytics; joint centres
good to about 0.6 % of stature, two frames), and two adults who walk over force plates. No serve is
among them. **What is in sample is said with each table.** Where rendered films and these people
disagree, these people win.
"""


def landmark_part(found: Sequence[Error]) -> str:
    """Return the landmarks' table."""
    lines = [
        "## Landmark against joint centre\n",
        "Root mean square in the picture, percent of stature, before and after the engine's "
        "correction; share of coordinates inside the stated 95 %. `both`: as the engine weighs "
        "the networks. The correction comes from rendered films; the man only refuses what he "
        "contradicts, and widens the uncertainty: for these two the table is in sample.\n",
        "| landmark | network | pictures | before | after | stated, each axis | held |",
        "| --- | --- | --- | --- | --- | --- | --- |",
    ]
    for kind in AXES:
        for network in sorted({one.network for one in found}, key=lambda n: (n == BOTH, n)):
            mine = [one for one in found if (one.kind, one.network) == (kind, network)]
            if mine:
                sd = 100.0 * float(np.median([one.sd for one in mine]))
                lines.append(
                    f"| {kind} | `{network}` | {len(mine)} | {rms([m.raw for m in mine]):.2f} | "
                    f"{rms([m.left for m in mine]):.2f} | {sd:.2f} | {100 * held(mine):.0f} % |"
                )
    lines.append("\nBy camera (`both`, all landmarks):\n")
    lines += ["| camera | before | after | held |", "| --- | --- | --- | --- |"]
    for camera in sorted({one.camera for one in found}):
        mine = [one for one in found if (one.camera, one.network) == (camera, BOTH)]
        lines.append(
            f"| {camera} | {rms([m.raw for m in mine]):.2f} | {rms([m.left for m in mine]):.2f} | "
            f"{100 * held(mine):.0f} % |"
        )
    return "\n".join(lines) + "\n"


def angle_part(found: Sequence[AngleError]) -> str:
    """Return the angles' table."""
    cameras = sorted({one.camera for one in found})
    lines = [
        "## The body against the markers\n",
        "Degrees; the fit alone on the whole film, which is no serve (no learned lift, nothing "
        "expected of a serve), the picture levelled by the known camera; error at the two frames, "
        "mean absolute error of all. Only the landmarks' correction above has seen these frames.\n",
        f"| angle | error | {' | '.join(cameras)} |",
        "| --- | --- |" + " --- |" * len(cameras),
    ]
    for name in dict.fromkeys(one.name for one in found):
        mine = [one for one in found if one.name == name]
        cells = [
            ", ".join(f"{one.off:+.0f}" for one in mine if one.camera == camera)
            for camera in cameras
        ]
        error = float(np.mean([abs(one.off) for one in mine]))
        lines.append(f"| {name} | {error:.1f} | {' | '.join(cells)} |")
    return "\n".join(lines) + "\n"


def share_part(found: Sequence[ShareErrors]) -> str:
    """Return the load shares' table."""
    lines = [
        "## Load share against force plates\n",
        "Rear foot's share while both feet stand, joints by markers, so without any error of film; "
        "points of body weight. Chosen on these two adults: the window of the accelerations, how "
        "far a heel rises until the ball bears the weight (3, 4, 6 and 10 cm were tried), the "
        "angular momentum of the segments. No other people were at hand: in sample.\n",
        "| share | subject | instants | slope | error | bias | 95 % within |",
        "| --- | --- | --- | --- | --- | --- | --- |",
    ]
    lines += [
        f"| {e.name} | {e.subject} | {e.count} | {e.slope:.2f} | {e.error:.1f} | {e.bias:+.1f} | "
        f"{e.p95:.0f} |"
        for e in found
    ]
    return "\n".join(lines) + "\n"
