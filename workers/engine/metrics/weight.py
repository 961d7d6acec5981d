"""Weight over the feet: share over the rear foot, static and dynamic, and for how long."""

from __future__ import annotations

import numpy as np

from models.contract.tracks import FloatArray
from models.contract.vocabulary import EventName
from workers.engine.load import dynamic_share, static_share, time_at_or_above
from workers.engine.mass import centre_of_mass
from workers.engine.metrics.spec import Formulas
from workers.engine.samples import LOAD_HALF_WIDTH_S, Samples

LEVEL = 0.6
"""Share over the rear foot that counts as loaded: common coaching rule, no source."""


def rear_foot_load_share(body: Samples) -> FloatArray:
    """Share of body weight over the rear foot at loading, by static moment balance.

    Centre of mass (de Leva 1996 segments) projected on the floor line from the rear to the front
    ankle joint centre; 1 = wholly over the rear ankle, 0 = over the front one. An estimate from
    film, not a force plate; outside 0..1 the body was not in balance.
    """
    pose = body.pose(EventName.LOADING)
    com = centre_of_mass(pose.joints, body.sex)
    return static_share(com, pose.joint("rear_ankle"), pose.joint("front_ankle"))


def rear_foot_load_share_foot_centre(body: Samples) -> FloatArray:
    """As `rear_foot_load_share`, between the foot centres (midway from heel to toe)."""
    pose = body.pose(EventName.LOADING)
    rear, front = (
        (pose.joint(f"{side}_heel") + pose.joint(f"{side}_toe")) / 2 for side in ("rear", "front")
    )
    return static_share(centre_of_mass(pose.joints, body.sex), rear, front)


def rear_foot_load_share_dynamic(body: Samples) -> FloatArray:
    """Rear share of vertical force at loading: the static share of the zero-moment point.

    x_zmp = x_com - z_com a_x / (g + a_z), point mass, angular momentum left out (usual with one
    camera). Differs from the static share while the body accelerates.
    """
    series = _dynamic_series(body)
    return body.at_instant(series, body.when(EventName.LOADING))


def rear_foot_load_share_peak(body: Samples) -> FloatArray:
    """Largest static rear-foot share between release and the drive (loading)."""
    mask = body.between(EventName.RELEASE, EventName.LOADING)
    return body.extreme(_static_series(body), mask)[0]


def most_loaded_before_contact(body: Samples) -> FloatArray:
    """Time before contact of the most rear-loaded instant between release and loading.

    Seconds; positive.
    """
    mask = body.between(EventName.RELEASE, EventName.LOADING)
    return np.asarray(body.when(EventName.CONTACT) - body.extreme(_static_series(body), mask)[1])


def rear_load_time_60(body: Samples) -> FloatArray:
    """Time spent with at least 0.60 of the weight over the rear foot, set-up to loading + 0.2 s.

    Seconds, static share.
    """
    mask = body.between(EventName.SET_UP, EventName.LOADING, after_s=0.2)
    share = np.where(mask, _static_series(body), np.nan)
    return time_at_or_above(body.time_s, share, LEVEL)


def hold_rear_load_time_60(body: Samples) -> FloatArray:
    """Time within the hold with at least 0.60 of the weight over the rear foot, seconds."""
    mask = body.between(EventName.SET_UP, EventName.FINISH)
    share = np.where(mask, _static_series(body), np.nan)
    return time_at_or_above(body.time_s, share, LEVEL)


def hold_rear_foot_load_share(body: Samples) -> FloatArray:
    """Mean static rear-foot share over the hold."""
    mask = body.between(EventName.SET_UP, EventName.FINISH)
    return np.asarray(np.nanmean(np.where(mask, _static_series(body), np.nan), axis=1))


def hold_duration(body: Samples) -> FloatArray:
    """Length of the static hold, seconds."""
    return np.asarray(body.when(EventName.FINISH) - body.when(EventName.SET_UP))


def _static_series(body: Samples) -> FloatArray:
    """Static share over time, shape (S, T)."""
    return static_share(body.com(), body.path("rear_ankle"), body.path("front_ankle"))


def _dynamic_series(body: Samples) -> FloatArray:
    """Dynamic share over time, shape (S, T)."""
    acceleration = body.derivative(body.com(), 2, LOAD_HALF_WIDTH_S)
    rear, front = body.path("rear_ankle"), body.path("front_ankle")
    return dynamic_share(body.com(), acceleration, rear, front, body.floor_z)


FORMULAS: Formulas = {
    "rear_foot_load_share": rear_foot_load_share,
    "rear_foot_load_share_foot_centre": rear_foot_load_share_foot_centre,
    "rear_foot_load_share_dynamic": rear_foot_load_share_dynamic,
    "rear_foot_load_share_peak": rear_foot_load_share_peak,
    "most_loaded_before_contact": most_loaded_before_contact,
    "rear_load_time_60": rear_load_time_60,
    "hold_rear_load_time_60": hold_rear_load_time_60,
    "hold_rear_foot_load_share": hold_rear_foot_load_share,
    "hold_duration": hold_duration,
}
