"""Angles of the body that both films give, beside those of the first film alone, and the truth."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from models.contract.skeleton import CANONICAL_BODY as BODY
from models.contract.vocabulary import Handedness
from models.training.events.dense import Array
from models.training.real.angles import angles
from models.training.views.measure import Tried, marks
from models.training.views.pairs import HEIGHT, WIDTH
from workers.engine.fit import FitResult, fit_body
from workers.engine.geometry import wrap180
from workers.engine.interface import EngineRequest
from workers.engine.learned import Learned
from workers.engine.lift import lift_track
from workers.engine.views.fused import SecondFilm
from workers.engine.views.pairing import ViewPair

INSTANTS = ("loading", "contact")
"""Events at which angles are compared."""
ONE, TWO = "one film", "two films"
DRAWS = 40
"""Bodies drawn for a stated standard deviation."""
SIDES = {"left": ("front", "tossing"), "right": ("rear", "hitting")}
PARTS = {"hip": 0, "knee": 0, "ankle": 0, "shoulder": 1, "elbow": 1, "wrist": 1}


@dataclass(frozen=True)
class AngleFound:
    """One angle at one instant by one way of filming, degrees; ``sd`` as stated."""

    way: str
    name: str
    measured: float
    true: float
    sd: float

    @property
    def off(self) -> float:
        """Error, degrees."""
        return float(wrap180(np.array(self.measured - self.true)))


def bodies_of(one: Tried, learned: Learned) -> list[AngleFound]:
    """Return the angles of a right pair by one film (fit and lift) and by two."""
    if not isinstance(one.found, ViewPair):
        return []
    pair, track = one.pair, one.pair.one.track
    landmarks = learned.landmarks
    first, second = (marks(film, pair.dense, landmarks) for film in (pair.one, pair.two))
    middle = (WIDTH / 2.0, HEIGHT / 2.0)
    beside = SecondFilm(
        one.found, first, second, pair.two.track, (middle, middle), False, landmarks
    )
    request = EngineRequest(stature_m=pair.dense.stature_m, azimuth_deg=pair.one.azimuth_deg)
    window = (float(track.time_s[0]), float(track.time_s[-1]))
    lifted = lift_track(track, (0, len(track)), Handedness.RIGHT, learned.lift, None)
    out = []
    for way in (ONE, TWO):
        fit = fit_body(
            track,
            window,
            handedness=Handedness.RIGHT,
            request=request,
            landmarks=landmarks,
            lifted=lifted,
            beside=(beside,) if way == TWO else (),
        )
        out += _angles(way, fit, one)
    return out


def _angles(way: str, fit: FitResult, one: Tried) -> list[AngleFound]:
    dense = one.pair.dense
    clock = fit.motion.time_s - one.pair.one.offset_s
    draws = fit.sample(DRAWS, 0)
    out = []
    for event in INSTANTS:
        if event not in dense.events:
            continue
        row = int(np.argmin(np.abs(clock - dense.events[event])))
        true_row = int(np.argmin(np.abs(dense.time_s - clock[row])))
        true = _of(dense.joints[true_row])
        measured = _of(fit.motion.joints[row])
        spread = [_of(body[row]) for body in draws]
        for name, value in measured.items():
            off = wrap180(np.array([drawn[name] - value for drawn in spread]))
            sd = float(np.sqrt(np.mean(off**2)))
            out.append(AngleFound(way, f"{name}", value, true[name], sd))
    return out


def _of(joints: Array) -> Mapping[str, float]:
    """Return the angles of joints (21, 3) of the canonical body."""
    named = {
        f"{side}_{part}": BODY.at(joints, f"{roles[which]}_{part}")
        for side, roles in SIDES.items()
        for part, which in PARTS.items()
    }
    found = angles(named)
    upper = named["right_elbow"] - named["right_shoulder"]
    fore = named["right_wrist"] - named["right_elbow"]
    cross = float(np.linalg.norm(np.cross(upper, fore)))
    found["elbow flexion"] = float(np.degrees(np.arctan2(cross, float(upper @ fore))))
    return found
