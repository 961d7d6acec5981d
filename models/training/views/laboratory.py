"""The six pairs of the laboratory films: clocks and directions against the calibration.

The films were exposed together, so the true offset is nought; directions are those of the given
cameras. Nothing of the calibration goes into what is measured, and nothing was chosen on it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from models.contract.note import Note
from models.contract.tracks import JointTrack
from models.contract.vocabulary import Handedness
from models.training.real.angles import SIDE_ON_DEG, angles, in_level, sided
from models.training.real.lab import LabCamera, Laboratory
from workers.engine.fit import fit_body
from workers.engine.fit.offsets import LandmarkErrors
from workers.engine.interface import EngineRequest
from workers.engine.views.clocks import coarse_offsets
from workers.engine.views.fused import SecondFilm
from workers.engine.views.pairing import ViewPair, pair_views
from workers.engine.views.relative import adjust
from workers.engine.views.seen import seen_body


@dataclass(frozen=True)
class LabPair:
    """Two laboratory films: what the product answers, and what the adjustment finds all the same.

    Angles in degrees, offsets in milliseconds (error). ``errors`` are mean absolute errors of the
    body that is fitted to both films against the markers, about the first camera.
    """

    names: tuple[str, str]
    apart_deg: float
    found: ViewPair | Note
    adjusted_deg: float
    adjusted_ms: float
    errors: Mapping[str, float]


def pairs_of(
    laboratory: Laboratory, tracks: Mapping[str, JointTrack], landmarks: LandmarkErrors
) -> list[LabPair]:
    """Return every pair of the laboratory's cameras."""
    out = []
    for a, b in combinations(laboratory.cameras, 2):
        one, two = (
            seen_body(tracks[camera.name], landmarks, stature_m=laboratory.stature_m)
            for camera in (a, b)
        )
        best = adjust(one, two, coarse_offsets(one, two)[0].offset_s)[0].rig
        pair = ViewPair(best, best.offset_s, 0.0, 0.0, 0.0, False)
        first, second = tracks[a.name], tracks[b.name]
        middles = [(track.width / 2.0, track.height / 2.0) for track in (first, second)]
        beside = SecondFilm(pair, one, two, second, (middles[0], middles[1]), False, landmarks)
        out.append(
            LabPair(
                (a.name, b.name),
                _wrapped(_heading(b) - _heading(a)),
                pair_views(one, two),
                _wrapped(np.degrees(best.yaw)),
                1e3 * best.offset_s,
                _against_markers(laboratory, a, first, beside, landmarks),
            )
        )
    return out


def _against_markers(
    laboratory: Laboratory,
    camera: LabCamera,
    track: JointTrack,
    beside: SecondFilm,
    landmarks: LandmarkErrors,
) -> dict[str, float]:
    """Return mean absolute errors of angles of the fitted body, degrees."""
    request = EngineRequest(stature_m=laboratory.stature_m, azimuth_deg=SIDE_ON_DEG)
    window = (float(track.time_s[0]), float(track.time_s[-1]))
    body = fit_body(
        track, window, handedness=Handedness.RIGHT, request=request, landmarks=landmarks,
        serve=False, beside=(beside,),
    ).motion  # fmt: skip
    off: dict[str, list[float]] = {}
    for posture in laboratory.postures:
        row = int(np.argmin(np.abs(body.frame_index - posture.frame)))
        measured, true = angles(sided(body.joints[row])), angles(in_level(posture, camera))
        for name, value in true.items():
            kind = name.removeprefix("left ").removeprefix("right ")
            off.setdefault(kind, []).append(abs(_wrapped(measured[name] - value)))
    return {kind: float(np.mean(values)) for kind, values in off.items()}


def _heading(camera: LabCamera) -> float:
    """Return where a camera looks along the floor, degrees."""
    return float(np.degrees(np.arctan2(camera.R[2][1], camera.R[2][0])))


def _wrapped(angle: float) -> float:
    return float((angle + 180.0) % 360.0 - 180.0)
