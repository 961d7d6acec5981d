"""One track from two: every frame where the film was looked at closely, few frames elsewhere."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from models.contract.tracks import FloatArray, JointTrack
from workers.pose.frames import Stretch

_PER_FRAME = (
    *("time_s", "frame_index", "xy", "xy_raw", "confidence"),
    *("world", "score", "disagreement_px", "people"),
)


def joined(fine: JointTrack, coarse: JointTrack, stretches: Sequence[Stretch]) -> JointTrack:
    """Return the fine track with the rows of the coarse one that lie outside the stretches.

    Both in pixels of the film. The networks of the fine track saw nothing in the added rows, which
    their ``sources`` say by NaN.
    """
    outside = np.ones(len(coarse), dtype=np.bool_)
    for start, stop in stretches:
        outside &= (coarse.time_s < start) | (coarse.time_s > stop)
    outside &= ~np.isin(coarse.frame_index, fine.frame_index)
    time_s = np.concatenate([fine.time_s, coarse.time_s[outside]])
    order = np.argsort(time_s, kind="stable")

    def merged(name: str) -> Any:
        rows = [getattr(fine, name), getattr(coarse, name)[outside]]
        return np.concatenate(rows)[order]

    def source(rows: FloatArray) -> FloatArray:
        unseen = np.full((int(outside.sum()), *rows.shape[1:]), np.nan)
        return np.asarray(np.concatenate([rows, unseen])[order])

    return JointTrack(
        **{name: merged(name) for name in _PER_FRAME},
        width=fine.width,
        height=fine.height,
        sources={name: source(rows) for name, rows in fine.sources.items()},
    )
