"""What bodies can do at the instants of a serve: ranges that generators draw from, and limits.

Ranges are wider than published means of skilled servers (Front Sports Act Living 2024,
doi 10.3389/fspor.2024.1432030; Sports Biomech 2003, 2(1):51-64): the aim is a posture that is
nearly uniform over what joints allow, not a usual serve. Limits of single joints follow the normal
active ranges of J Bone Joint Surg Am 1979, 61(5):756-759 (values from memory), wider where the
channel adds the girdle or where a fast movement goes further: external rotation of the shoulder
reaches 172 degrees in serves (Sports Biomech 2003, 2(1):51-64, doi 10.1080/14763140308522807).
Ranges by instant are working values inside those limits.
"""

from __future__ import annotations

import numpy as np

from models.training.rendered.rotation import Array

#: instants at which a range is given
STATIONS = ("start", "release", "load", "low", "contact", "finish", "end")

Range = tuple[float, float]
#: dimension -> (low, high) at each station; degrees, shares (0 to 1) or metres
BY_STATION: dict[str, tuple[Range, ...]] = {
    "separation": ((-8, 12), (-12, 40), (-22, 62), (-30, 45), (-35, 25), (-45, 10), (-8, 8)),
    "tilt": ((-6, 10), (-8, 40), (-12, 62), (-40, 35), (-60, -4), (-45, 10), (-6, 6)),
    "p_roll": ((-4, 4), (-10, 14), (-20, 24), (-15, 12), (-24, 4), (-15, 8), (-4, 4)),
    "p_pitch": ((0, 14), (-8, 14), (-14, 14), (-12, 14), (0, 28), (5, 40), (0, 12)),
    "t_pitch": ((0, 24), (-15, 22), (-32, 24), (-32, 16), (-10, 40), (5, 60), (0, 18)),
    "s_roll": ((-3, 3), (-9, 9), (-14, 14), (-12, 12), (-9, 9), (-8, 8), (-3, 3)),
    "s_pitch": ((-3, 3), (-8, 8), (-12, 9), (-12, 9), (-9, 9), (-8, 8), (-3, 3)),
    "h_el": ((10, 45), (20, 100), (50, 118), (75, 120), (96, 146), (30, 100), (5, 35)),
    "h_az": ((0, 60), (-40, 50), (-40, 38), (-25, 35), (-15, 50), (60, 112), (0, 40)),
    "h_rot": ((-60, 10), (-30, 90), (10, 130), (112, 172), (40, 115), (-20, 30), (-40, 0)),
    "h_flex": ((20, 100), (8, 125), (25, 138), (70, 130), (3, 54), (10, 70), (20, 70)),
    "t_el": ((12, 50), (95, 150), (90, 176), (30, 125), (18, 85), (14, 60), (10, 35)),
    "t_az": ((15, 65), (0, 85), (0, 85), (15, 75), (10, 80), (0, 60), (0, 40)),
    "t_rot": ((-30, 10), (-20, 20), (-25, 25), (-30, 20), (-40, 10), (-35, 5), (-30, 0)),
    "t_flex": ((20, 95), (3, 30), (3, 60), (35, 120), (40, 120), (30, 100), (20, 60)),
    "t_wrist": ((-10, 15), (-15, 15), (-15, 20), (-15, 20), (-10, 20), (-10, 15), (-5, 10)),
    "r_tilt": ((15, 60), (10, 60), (10, 60), (40, 95), (5, 60), (15, 60), (15, 50)),
    "r_around": ((-80, 30), (-80, 30), (-95, 50), (40, 115), (-60, 20), (-80, 0), (-70, 0)),
    "front_knee": ((3, 32), (0, 1), (2, 84), (0, 1), (3, 36), (8, 60), (4, 16)),
    "rear_knee": ((3, 32), (0, 1), (2, 84), (0, 1), (3, 50), (8, 60), (4, 16)),
    "share": (
        (0.30, 0.70),
        (0.20, 0.85),
        (0.20, 0.85),
        (-0.10, 0.60),
        (-0.35, 0.25),
        (-0.12, 0.15),
        (0.40, 0.60),
    ),
    "balance": (
        (-0.05, 0.0),
        (-0.06, 0.04),
        (-0.08, 0.05),
        (-0.08, 0.05),
        (-0.10, 0.06),
        (-0.08, 0.08),
        (-0.03, 0.02),
    ),
}
#: share of the way from start (release) or contact (low) to the loaded value, where the table
#: says 0 to 1 for the knees
_PART = {"release": (0.0, 0.75), "low": (0.15, 0.75)}
#: share of movements with hardly bent knees, which few independent draws would give
_STRAIGHT = 0.22
DIMENSIONS = (*BY_STATION, "p_turn")
ARMS = tuple(d for d in BY_STATION if d[:2] in ("h_", "t_", "r_") and d != "t_pitch")
TRUNK = ("separation", "tilt", "p_roll", "p_pitch", "t_pitch", "s_roll", "s_pitch", "p_turn")

#: limits of single dimensions, see the module's text
LIMITS: dict[str, Range] = {
    "separation": (-45.0, 66.0),
    "tilt": (-66.0, 66.0),
    "p_roll": (-28.0, 28.0),
    "p_pitch": (-22.0, 75.0),
    "t_pitch": (-42.0, 95.0),
    "s_roll": (-18.0, 18.0),
    "s_pitch": (-16.0, 30.0),
    "h_el": (8.0, 165.0),
    "h_az": (-48.0, 118.0),
    "h_rot": (-80.0, 178.0),
    "h_flex": (1.0, 143.0),
    "t_el": (8.0, 178.0),
    "t_az": (-40.0, 118.0),
    "t_rot": (-70.0, 110.0),
    "t_flex": (1.0, 143.0),
    "t_wrist": (-55.0, 65.0),
    "r_tilt": (4.0, 100.0),
    "r_around": (-130.0, 135.0),
    "front_knee": (1.0, 140.0),
    "rear_knee": (1.0, 140.0),
}
#: thorax against pelvis: bending to a side, and bending (negative = stretching), degrees
SIDE_BEND, FORWARD_BEND = (-42.0, 42.0), (-45.0, 70.0)
#: pelvis against foot: the hip and the bent knee turn together, degrees
FOOT_TURN = 78.0


def draw(rng: np.random.Generator, dimension: str, station: str) -> float:
    """A value of a dimension at a station, uniform in its range."""
    low, high = BY_STATION[dimension][STATIONS.index(station)]
    return float(rng.uniform(low, high))


def draw_targets(rng: np.random.Generator, feet: tuple[float, float]) -> dict[str, Array]:
    """Independent values of every dimension at all `STATIONS`, arrays of shape (7,).

    ``feet`` are the turns of front and rear foot, which bound the turn of the pelvis.
    """
    table = np.array([BY_STATION[d] for d in BY_STATION], dtype=np.float64)
    values = rng.uniform(table[..., 0], table[..., 1])
    out = dict(zip(BY_STATION, values, strict=True))
    straight = rng.random() < _STRAIGHT
    for knee in ("front_knee", "rear_knee"):
        path = out[knee]
        if straight:
            path[0], path[2] = rng.uniform(2, 12), rng.uniform(2, 30)
        path[1] = path[0] + rng.uniform(*_PART["release"]) * (path[2] - path[0])
        path[3] = path[4] + rng.uniform(*_PART["low"]) * (path[2] - path[4])
    _free_lean(rng, out)
    out["p_turn"] = pelvis_turns(rng, feet)
    return out


#: how far pelvis, thorax and extra bend of the spine tip the trunk's line, degrees a degree (of the
#: spine's chain in `pose`, about)
_LEAN_OF = {"p_roll": 0.42, "tilt": 0.58, "s_roll": 0.48}


def _free_lean(rng: np.random.Generator, out: dict[str, Array]) -> None:
    """Draw the loaded trunk's lean by itself: pelvis and spine make up for the shoulders' tilt as
    far as they can, so that tilt and lean are less bound to each other.
    """
    at = STATIONS.index("load")
    tilt = out["tilt"][at]
    most = 24.0 * _LEAN_OF["p_roll"] + 16.0 * _LEAN_OF["s_roll"]
    rest = np.clip(rng.uniform(-18.0, 34.0) - _LEAN_OF["tilt"] * tilt, -most, most) / most
    out["p_roll"][at] = np.clip(24.0 * rest + rng.normal(0, 3.0), tilt - 40.0, 26.0)
    out["s_roll"][at] = 16.0 * rest


def pelvis_turns(rng: np.random.Generator, feet: tuple[float, float]) -> Array:
    """Turns of the pelvis at the stations: away from the net by -12 to 47 degrees at loading."""
    most = feet[0] + FOOT_TURN - 4.0
    start = rng.uniform(55.0, 104.0)
    load = start + rng.uniform(-12.0, 47.0)
    if load > most:  # the front foot bounds both: draw the start lower, keep the turn
        start, load = start - (load - most), most
    release = start + rng.uniform(-0.1, 1.0) * (load - start)
    contact = rng.uniform(-2.0, 65.0)
    low = contact + rng.uniform(0.15, 0.95) * (load - contact)
    finish, end = contact + rng.uniform(-55.0, 5.0), rng.uniform(-15.0, 30.0)
    return np.array([start, release, load, low, contact, max(finish, -40.0), end])


def soft_limit(
    values: Array, low: Array | float, high: Array | float, margin: float = 4.0
) -> Array:
    """Values brought smoothly into (low, high): unchanged in the middle, never beyond."""
    over = np.maximum(values - (high - margin), 0.0)
    under = np.maximum((low + margin) - values, 0.0)
    # what is beyond the margin is folded into it; tanh has no curvature at zero, so this is C2
    cut = over - margin * np.tanh(over / margin)
    return np.asarray(values - cut + (under - margin * np.tanh(under / margin)))
