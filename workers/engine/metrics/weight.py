"""Weight over the feet by posture, the load on them by movement, and for how long."""

from __future__ import annotations

import numpy as np

from models.contract.tracks import FloatArray
from models.contract.vocabulary import EventName
from workers.engine.load import dynamic_share, static_share, time_at_or_above
from workers.engine.mass import centre_of_mass, spin_rate
from workers.engine.metrics.spec import Formulas
from workers.engine.samples import Samples

LEVEL = 0.6
"""Share over the rear foot that counts as loaded: common coaching rule, no source."""


def rear_foot_load_share(body: Samples) -> FloatArray:
    """Share of body weight over the rear foot at loading, by posture.

    Centre of mass (de Leva 1996 segments) projected on the floor line from where the rear foot
    presses to where the front one does (the middle from heel to toe tip, the ball of a raised
    heel); 1 = wholly over the rear foot, 0 = over the front one. An estimate from film, not a
    force plate: what the floor carries differs while the body accelerates; outside 0..1 it was
    not in balance.
    """
    return body.at_instant(_posture_series(body), body.when(EventName.LOADING))


def rear_foot_load_share_dynamic(body: Samples) -> FloatArray:
    """Share of the floor's vertical force on the rear foot at loading, from the movement.

    Zero-moment point (x_com - (z a_x + H_y') / (g + a_z), H' the change of the segments' angular
    momentum about the centre of mass) on the floor line between the same two points of the feet
    as the share by posture. Accelerations by a quartic fit over 0.2 s to either side.
    """
    when = body.when(EventName.LOADING)
    known = when[np.isfinite(when)]
    if not known.size:
        return when
    # 4 frames are interpolated: only those near the samples' instants are worked out
    first = max(0, int(np.searchsorted(body.time_s, known.min())) - 4)
    rows = np.arange(
        first, min(len(body.time_s), int(np.searchsorted(body.time_s, known.max())) + 4)
    )
    joints, acceleration = body.joints[:, rows], body.mass_acceleration(rows)
    rear, front = (foot[:, rows] for foot in body.feet())
    share = np.full(body.joints.shape[:2], np.nan)
    share[:, rows] = dynamic_share(
        body.com()[:, rows],
        centre_of_mass(acceleration, body.sex),
        rear,
        front,
        body.floor_z,
        spin_rate(joints, acceleration, body.sex),
    )
    return body.at_instant(share, when)


def rear_foot_load_share_peak(body: Samples) -> FloatArray:
    """Largest share over the rear foot, by posture, between release and the drive (loading)."""
    mask = body.between(EventName.RELEASE, EventName.LOADING)
    return body.extreme(_posture_series(body), mask)[0]


def most_loaded_before_contact(body: Samples) -> FloatArray:
    """Time before contact of the most rear-loaded instant between release and loading.

    Seconds; positive.
    """
    mask = body.between(EventName.RELEASE, EventName.LOADING)
    return np.asarray(body.when(EventName.CONTACT) - body.extreme(_posture_series(body), mask)[1])


def rear_load_time_60(body: Samples) -> FloatArray:
    """Time spent with at least 0.60 of the weight over the rear foot, set-up to loading + 0.2 s.

    Seconds, by posture.
    """
    mask = body.between(EventName.SET_UP, EventName.LOADING, after_s=0.2)
    share = np.where(mask, _posture_series(body), np.nan)
    return time_at_or_above(body.time_s, share, LEVEL)


def hold_rear_load_time_60(body: Samples) -> FloatArray:
    """Time within the hold with at least 0.60 of the weight over the rear foot, seconds."""
    mask = body.between(EventName.SET_UP, EventName.FINISH)
    share = np.where(mask, _posture_series(body), np.nan)
    return time_at_or_above(body.time_s, share, LEVEL)


def hold_rear_foot_load_share(body: Samples) -> FloatArray:
    """Mean share of weight over the rear foot during the hold, by posture: nothing moves."""
    mask = body.between(EventName.SET_UP, EventName.FINISH)
    return np.asarray(np.nanmean(np.where(mask, _posture_series(body), np.nan), axis=1))


def hold_duration(body: Samples) -> FloatArray:
    """Length of the static hold, seconds."""
    return np.asarray(body.when(EventName.FINISH) - body.when(EventName.SET_UP))


def _posture_series(body: Samples) -> FloatArray:
    """Share by posture over time, shape (S, T)."""
    return static_share(body.com(), *body.feet())


FORMULAS: Formulas = {
    "rear_foot_load_share": rear_foot_load_share,
    "rear_foot_load_share_dynamic": rear_foot_load_share_dynamic,
    "rear_foot_load_share_peak": rear_foot_load_share_peak,
    "most_loaded_before_contact": most_loaded_before_contact,
    "rear_load_time_60": rear_load_time_60,
    "hold_rear_load_time_60": hold_rear_load_time_60,
    "hold_rear_foot_load_share": hold_rear_foot_load_share,
    "hold_duration": hold_duration,
}
