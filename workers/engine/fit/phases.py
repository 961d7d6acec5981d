"""Rough phases of a serve from the picture, for the anatomical expectations of the fit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.contract.tracks import BoolArray, FloatArray
from workers.engine.fit.skeleton import point

COIL_S = (-0.9, -0.25)
"""Loading and trophy, from contact: the shoulders have turned further from the net than the pelvis
(secondary texts give 20-30 deg for trained players, see the reference of the metrics)."""

COCKING_S = (-0.6, 0.02)
"""From trophy to contact the upper arm of an overhand hitter stays near the plane of the chest
(horizontal abduction within about 15-25 deg; common practice in throwing studies, from memory)."""


DRIVE_S = -0.30
"""Until about this long before contact both feet carry the body (rendered serves)."""


ELBOW: tuple[tuple[tuple[float, float], float, float], ...] = (
    ((-0.50, -0.15), 95.0, 0.45),
    ((-0.02, 0.06), 28.0, 0.20),
)
"""Span from contact, usual elbow flexion (deg) and spread of its cosine: cocked (104 deg, Sports
Biomech 2003, 2(1):51-64) and at impact (30 +- 16 deg, doi 10.3389/fspor.2024.1432030). They only
tip the scale between an arm folded toward and away from the camera."""


@dataclass(frozen=True, slots=True)
class Phases:
    """Which instants belong to which phase, each shape (T,)."""

    coil: BoolArray
    cocking: BoolArray
    before_drive: BoolArray
    elbow_cosine: FloatArray
    elbow_spread: FloatArray

    @classmethod
    def of(cls, time_s: FloatArray, uv: FloatArray, usual: bool = True) -> Phases:
        """Take contact as the instant of the highest hitting wrist in the picture.

        Parameters
        ----------
        time_s : ndarray, shape (T,)
        uv : ndarray, shape (T, 17, 2)
            Pixels of the body's points, canonical right-hander.
        usual : bool
            Expect usual postures, which tip the scale between mirror images in depth. Where the
            learned lift has chosen among them, they would only draw the body to the average.
        """
        height = -np.nan_to_num(uv[:, point("hitting_wrist"), 1], nan=1e9)
        after = time_s - time_s[int(np.argmax(height))]
        cosine, spread = np.full(len(after), 0.0), np.full(len(after), np.inf)
        for span, flexion_deg, cosine_sd in ELBOW if usual else ():
            rows = _within(after, span)
            cosine[rows], spread[rows] = np.cos(np.radians(flexion_deg)), cosine_sd
        return cls(
            _within(after, COIL_S) & usual,
            _within(after, COCKING_S) & usual,
            after < DRIVE_S,
            cosine,
            spread,
        )

    @classmethod
    def none(cls, time_s: FloatArray) -> Phases:
        """Return the phases of what is no serve: nothing is expected of the body."""
        no = np.zeros(len(time_s), dtype=bool)
        return cls(no, no, no, np.zeros(len(time_s)), np.full(len(time_s), np.inf))


def _within(after: FloatArray, span: tuple[float, float]) -> BoolArray:
    return np.asarray((after >= span[0]) & (after <= span[1]))
