"""The rate at which a film really shows something new.

Films stored at another rate than they were taken at hold pictures twice; players' programs and
bad connections leave pictures out. Counting each stored picture as new makes speeds wrong, and
claims a rate that the film does not have.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from models.contract.tracks import BoolArray, FloatArray, JointTrack
from workers.engine.usability import frame_rate

AGAIN = 0.2
"""Share of the usual change around it under which a picture repeats the one before: repeats leave
0 to 0.1, 24 films without any at most 8 % such pictures while something moves."""
USUAL_OF = 6
"""Pictures on either side from which the usual change is taken: their upper quartile."""
MOVING = 0.5
"""Grey levels of usual change under which nothing moves: repeats cannot be told then."""
REPEATED_SHARE = 0.15
"""Least share of repeats among pictures of movement that makes a film one of repeated pictures."""
JUMP = 1.6
"""A frame interval so many times the usual one is a gap: a picture was left out."""
GAPS_SHARE = 0.05
"""Least share of intervals that are gaps for a film to be told of dropping pictures."""


@dataclass(frozen=True, slots=True)
class TimeBase:
    """A track without repeated pictures, and what its time is worth.

    Attributes
    ----------
    track : JointTrack
        Without the rows of pictures that repeat the one before.
    fps : float
        Pictures per second that show something new.
    stored_fps : float
        Pictures per second in the file.
    repeated : float
        Share of repeats among pictures of movement, 0 where there are too few to tell.
    dropped : float
        Share of frame intervals in which pictures are missing.
    """

    track: JointTrack
    fps: float
    stored_fps: float
    repeated: float
    dropped: float


def time_base(track: JointTrack) -> TimeBase:
    """Return the true time base of a film."""
    stored = frame_rate(track.time_s, track.frame_index)
    again, share = repeats(track)
    if share < REPEATED_SHARE:
        return TimeBase(track, stored, stored, 0.0, _dropped(track))
    kept = ~again
    return TimeBase(rows_of(track, kept), stored * (1.0 - share), stored, share, 0.0)


def repeats(track: JointTrack) -> tuple[BoolArray, float]:
    """Return which rows show the picture before once more, and their share while something moves.

    A picture in front of which nothing was looked at repeats nothing.
    """
    none = np.zeros(len(track), dtype=np.bool_)
    seen = track.sightings
    if seen is None or len(seen.looked) == 0:
        return none, 0.0
    usual = usual_change(seen.change)
    with np.errstate(invalid="ignore"):
        moving = usual > MOVING
        again = (seen.change < AGAIN * usual) & moving
    if not moving.any():
        return none, 0.0
    return np.isin(track.frame_index, seen.looked[again]), float(again.sum() / moving.sum())


def usual_change(change: FloatArray) -> FloatArray:
    """Return the upper quartile of the changes around each picture."""
    padded = np.pad(change, USUAL_OF, constant_values=np.nan)
    near = np.lib.stride_tricks.sliding_window_view(padded, 2 * USUAL_OF + 1)
    result = np.full(len(change), np.nan)
    some = np.isfinite(near).any(axis=1)
    result[some] = np.nanpercentile(near[some], 75, axis=1)
    return result


def rows_of(track: JointTrack, kept: BoolArray) -> JointTrack:
    """Return some rows of a track."""
    return replace(
        track,
        time_s=track.time_s[kept],
        frame_index=track.frame_index[kept],
        xy=track.xy[kept],
        xy_raw=track.xy_raw[kept],
        confidence=track.confidence[kept],
        world=track.world[kept],
        score=track.score[kept],
        disagreement_px=track.disagreement_px[kept],
        people=track.people[kept],
        sources={name: rows[kept] for name, rows in track.sources.items()},
    )


def _dropped(track: JointTrack) -> float:
    """Return the share of intervals between neighbouring frames that are gaps."""
    step = np.diff(track.time_s) / np.maximum(np.diff(track.frame_index), 1)
    near = step[np.diff(track.frame_index) == 1]
    if near.size < 10:
        return 0.0
    return float(np.mean(near > JUMP * np.median(near)))
