"""Where the target lies in the levelled frame: what body, learned lift, caller and lines say.

The levelled frame looks along the camera's axis; azimuths are about the person, who may stand
beside it: the bearing leads from one to the other.
"""

from __future__ import annotations

import numpy as np

from models.contract.skeleton import LANDMARKS
from models.contract.tracks import FloatArray, IntArray, JointTrack
from workers.engine.camera import LevelCamera
from workers.engine.court_lines import line_heading
from workers.engine.fit.azimuth import GIVEN_SD, joined, target_heading
from workers.engine.fit.initial import typical_focal_px
from workers.engine.fit.result import ClipContext
from workers.engine.fit.skeleton import POINTS
from workers.engine.interface import EngineRequest
from workers.engine.lift import Lifted


def heading_by_body(
    request: EngineRequest,
    context: ClipContext | None,
    bearing: float,
    time_s: FloatArray,
    level: FloatArray,
    planted: FloatArray,
    lifted: Lifted | None,
) -> tuple[float, float]:
    """Return where the target lies in the levelled frame, and its sd, radians."""
    if request.azimuth_deg is not None:
        return float(np.radians(request.azimuth_deg - 90.0)) - bearing, float(np.radians(GIVEN_SD))
    heading, sd = target_heading(time_s, level, planted)
    if lifted is not None:
        heading, sd = joined((heading, sd), (lifted.heading, lifted.heading_sd))
    if context is None:
        return heading, sd
    before = np.radians(context.azimuth_deg - 90.0) - bearing
    weights = 1.0 / np.array([sd**2, np.radians(context.azimuth_sd) ** 2])
    both = np.array([heading, before])
    mean = np.arctan2(weights @ np.sin(both), weights @ np.cos(both))
    return float(mean), float(min(sd, np.radians(context.azimuth_sd)))


def by_lines(
    track: JointTrack,
    rows: IntArray,
    mirrored: bool,
    camera: LevelCamera,
    body: tuple[float, float],
) -> tuple[float, float] | None:
    """Return heading and sd, rad, by lines of the court and the body; None where none are seen.

    The frame nearest to the beginning counts: a hand-held phone is stillest then.
    """
    seen = track.sightings
    if seen is None or not len(seen.edge_frame):
        return None
    frames = np.asarray(track.frame_index[rows])
    early = seen.edge_frame[np.abs(seen.edge_frame - frames[0]).argmin()]
    if early > frames[-1]:
        return None
    ends = seen.edge_ends[seen.edge_frame == early]
    if mirrored:
        ends = ends * np.array([-1.0, 1.0]) + np.array([track.width, 0.0])
    return line_heading(ends, track.width, camera, *body)


def guessed_bearing(track: JointTrack, rows: IntArray, mirrored: bool) -> float:
    """Return how far to the right of a usual camera's axis the person stands at first, rad."""
    hips = track.xy_raw[rows[: max(3, len(rows) // 10)]][:, list(LANDMARKS.pair("hip")), 0]
    right = float(np.nanmedian(hips)) - track.width / 2
    off = np.arctan2(right, typical_focal_px(track.width, track.height))
    return float(-off if mirrored else off)


def bearing_of(level: FloatArray) -> float:
    """Return how far to the right of the camera's axis the body stands at first, rad."""
    hips = np.median(POINTS.middle(level[: max(3, len(level) // 10)], "hip"), axis=0)
    return float(np.arctan2(hips[0], hips[1]))
