"""Where the camera stands about the server, and what that place is called."""

from __future__ import annotations

import numpy as np

from models.contract.analysis import ViewEstimate
from models.contract.vocabulary import View
from workers.engine.geometry import wrap180

_BOUNDS = (
    (15.0, View.FRONT),
    (72.0, View.FRONT_QUARTER),
    (108.0, View.SIDE),
    (165.0, View.REAR_QUARTER),
    (180.0, View.BEHIND),
)
BACK_SIDE_HALF_WIDTH_DEG = 18.0
"""Degrees about 270 within which the camera faces the server's back (working value)."""


def view_of(azimuth_deg: float) -> View:
    """Return the name of a camera azimuth (0 = from the net, 90 = facing the chest).

    Angles past 180 share the names of their mirror image, except within 18 deg of 270, which
    look at the back of the side-on stance.
    """
    azimuth = azimuth_deg % 360.0
    if abs(azimuth - 270.0) <= BACK_SIDE_HALF_WIDTH_DEG:
        return View.BACK_SIDE
    folded = min(azimuth, 360.0 - azimuth)
    for bound, name in _BOUNDS:
        if folded <= bound:
            return name
    return View.BEHIND


def views_within(azimuth_deg: float, low_deg: float, high_deg: float) -> tuple[View, ...]:
    """Return every name that an azimuth may have within its interval, the likeliest first."""
    steps = sorted(np.arange(low_deg, high_deg + 1.0), key=lambda a: abs(a - azimuth_deg))
    return tuple(dict.fromkeys(view_of(float(a)) for a in (azimuth_deg, *steps)))


def mean_azimuth(azimuths: list[tuple[float, float]]) -> tuple[float, float]:
    """Return the circular mean of (azimuth, sd) pairs weighted by precision, and its sd, deg.

    The sd never falls below the scatter of the pairs: errors of one clip are alike.
    """
    angles = np.radians([a for a, _ in azimuths])
    sds = np.maximum([s for _, s in azimuths], 1.0)
    weights = 1.0 / np.square(sds)
    mean = float(
        np.degrees(np.arctan2(np.sum(weights * np.sin(angles)), np.sum(weights * np.cos(angles))))
    )
    away = wrap180(np.degrees(angles) - mean)
    scatter = float(np.sqrt(np.sum(weights * np.square(away)) / np.sum(weights)))
    return mean % 360.0, float(np.hypot(np.min(sds), scatter))


def estimate_view(
    azimuths: list[tuple[float, float]], given: View, given_azimuth: float | None
) -> ViewEstimate:
    """Return the view: what the caller gave, else what the bodies of the clip say.

    Parameters
    ----------
    azimuths : list of (azimuth, sd)
        One per fitted repetition, degrees.
    given, given_azimuth :
        From the request.
    """
    if given_azimuth is not None:
        azimuth = given_azimuth % 360.0
        return ViewEstimate(
            label=view_of(azimuth),
            azimuth_deg=round(azimuth, 1),
            azimuth_low=round(azimuth - 5.0, 1),
            azimuth_high=round(azimuth + 5.0, 1),
            source="given",
        )
    if not azimuths:
        source = "given" if given is not View.UNKNOWN else "unknown"
        return ViewEstimate(label=given, source=source)
    azimuth, sd = mean_azimuth(azimuths)
    label = view_of(azimuth) if given is View.UNKNOWN else given
    return ViewEstimate(
        label=label,
        azimuth_deg=round(azimuth, 1),
        azimuth_low=round(azimuth - 1.96 * sd, 1),
        azimuth_high=round(azimuth + 1.96 * sd, 1),
        source="estimated" if given is View.UNKNOWN else "given",
    )
