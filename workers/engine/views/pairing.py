"""Whether two films show one serve from two places, and from where; or why they are no pair."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.contract.note import Note, note
from models.contract.note_codes import NoteCode
from workers.engine.evidence import SOUND_M_S, SYNC_SD_S
from workers.engine.fit.skeleton import POINTS
from workers.engine.views.clocks import CoarseOffset, coarse_offsets
from workers.engine.views.relative import OFFSET_SD_S, Adjusted, adjust
from workers.engine.views.rig import NAMES, Rig, cross
from workers.engine.views.seen import SeenBody

BEST_DEG = (60, 100)
"""How far apart two cameras should stand, degrees (the bounds of two landmarks' views)."""
NEAREST_DEG, FARTHEST_DEG = 28.0, 152.0
"""Angle between the looks of two cameras outside of which they see the same, or the same mirrored,
degrees (working values)."""
SAME_ASIDE = 0.33
"""Share of a picture's sideways movement that another, turned or mirrored, leaves unexplained when
they stand together or face each other (0.13 to 0.29 within 15 degrees of that and 0.55 to 1.0 on
pairs 40 to 120 degrees apart, drawn pairs of the tuning seeds)."""
HEIGHT_MISFIT = 0.045
"""Root mean square difference of the joints' heights in two level pictures of one serve, standing
heights: 0.012 to 0.029 on drawn pairs of one serve, 0.065 to 0.104 of two players (tuning
seeds)."""
DRIFT = 1.2
"""Root mean square difference of the clocks' offset between stretches of the serve over its
standard deviation: 0.3 to 0.9 on drawn pairs of one serve, 0.8 to 3.3 of a player's next serve
(tuning seeds)."""
UNLIKELY = 31.5
"""Robust cost of an independent instant: 22 to 29 on drawn pairs of one serve, 35 to 45 of a
player's next serve (tuning seeds)."""
OFFSET_WIDER, APART_WIDER = 2.0, 1.6
"""By how much errors exceeded what the adjustment states, for what landmarks err alike over a serve
and for lines that are read late (drawn pairs of the tuning seeds)."""
STANDING = 0.2
"""Share of the common stretch in which the player still stands (working value)."""
STEP = 1e-4
"""Step by which slopes of an angle are taken, in the unit of each unknown."""
HEARD_WITHIN_S = 0.12
"""Sounds of both films that differ by more from the offset of the movement are not one, seconds
(working value)."""


@dataclass(frozen=True, slots=True)
class ViewPair:
    """Two cameras on one serve.

    Attributes
    ----------
    rig : Rig
    offset_s, offset_sd_s : float
        What to add to a time of the first film for the same instant of the second, seconds.
    apart_deg, apart_sd_deg : float
        How far the look from the second camera at the standing player is turned to the left of the
        first's, along the floor, -180 to 180. The cameras' headings (`Rig.yaw`) differ from that by
        how each is aimed: where a camera stands says what it sees, where it is aimed does not.
    heard : bool
        Whether a sound of both films took part.
    """

    rig: Rig
    offset_s: float
    offset_sd_s: float
    apart_deg: float
    apart_sd_deg: float
    heard: bool


def pair_views(one: SeenBody, two: SeenBody) -> ViewPair | Note:
    """Find clocks and cameras of two views of one serve.

    Parameters
    ----------
    one, two : SeenBody
        The player's marks in both films; a left-hander's mirrored in both.

    Returns
    -------
    ViewPair, or Note
        A note says why the films are no pair and what to film instead.
    """
    dips = coarse_offsets(one, two)
    if not dips:
        return note(NoteCode.VIEWS_TOO_SHORT)
    if dips[0].misfit > HEIGHT_MISFIT:
        return note(NoteCode.VIEWS_NOT_SYNCHRONISED)
    same = _together(one, two, dips[0])
    if same is not None:
        return note(same, least=BEST_DEG[0], most=BEST_DEG[1])
    offset, sd, heard = heard_offset(one, two, dips[0].offset_s)
    found = adjust(one, two, offset, sd)[0]
    apart, apart_sd = about_player(found, one, two)
    if abs(apart) < NEAREST_DEG:
        return note(NoteCode.VIEWS_TOGETHER, least=BEST_DEG[0], most=BEST_DEG[1])
    if abs(apart) > FARTHEST_DEG:
        return note(NoteCode.VIEWS_OPPOSITE, least=BEST_DEG[0], most=BEST_DEG[1])
    if _two_serves(found):
        return note(NoteCode.VIEWS_OF_TWO_SERVES)
    return ViewPair(
        found.rig,
        found.rig.offset_s,
        OFFSET_WIDER * float(np.sqrt(found.spread[10, 10])),
        apart,
        APART_WIDER * apart_sd,
        heard,
    )


def about_player(found: Adjusted, one: SeenBody, two: SeenBody) -> tuple[float, float]:
    """Return the angle between the looks of both cameras at the standing player, and its standard
    deviation, degrees.
    """
    held = one.time_s[two.inside(one.time_s + found.rig.offset_s)]
    times = held[: max(1, int(STANDING * len(held)))]
    in_one = one.at(times)

    def angle(rig: Rig) -> float:
        crossed = cross(rig, one, two, in_one, two.at(times + rig.offset_s))
        player = np.median(POINTS.middle(crossed.points, "hip"), axis=0)[:2]
        looks = (complex(*player), complex(*(player - rig.place[:2])))
        return float(np.angle(looks[1] / looks[0]))

    there = angle(found.rig)
    slopes = np.empty(len(NAMES))
    for i in range(len(NAMES)):
        moved = found.rig.values.copy()
        moved[i] += STEP
        slopes[i] = float(np.angle(np.exp(1j * (angle(Rig(moved)) - there)))) / STEP
    return float(np.degrees(there)), float(np.degrees(np.sqrt(slopes @ found.spread @ slopes)))


def heard_offset(one: SeenBody, two: SeenBody, offset_s: float) -> tuple[float, float, bool]:
    """Return the offset with the impact that both films heard, its sd, and whether there is one.

    Sound reaches each camera late by its distance, which standing height and a usual focal length
    give; what the lens leaves unknown of that is the spread.
    """
    if not (one.heard_s.size and two.heard_s.size):
        return offset_s, OFFSET_SD_S, False
    late = [view.focal_px * view.stature_m / view.tall_px / SOUND_M_S for view in (one, two)]
    struck = (two.heard_s - late[1])[None, :] - (one.heard_s - late[0])[:, None]
    nearest = float(struck.ravel()[np.argmin(np.abs(struck - offset_s))])
    if abs(nearest - offset_s) > HEARD_WITHIN_S:
        return offset_s, OFFSET_SD_S, False
    sd = float(np.sqrt(2.0) * np.hypot(SYNC_SD_S, 0.3 * np.mean(late)))
    weight = np.array([OFFSET_SD_S**-2, sd**-2])
    mean = float(weight @ [offset_s, nearest] / weight.sum())
    return mean, float(weight.sum() ** -0.5), True


def _together(one: SeenBody, two: SeenBody, found: CoarseOffset) -> NoteCode | None:
    """Return why two pictures show the same or the same mirrored, or None."""
    times = one.time_s[two.inside(one.time_s + found.offset_s)]
    known = np.isfinite(one.aside[0]) & np.isfinite(two.aside[0])
    first = one.aside[np.searchsorted(one.time_s, times)][:, known].ravel()
    second = np.stack(
        [np.interp(times + found.offset_s, two.time_s, path) for path in two.aside.T[known]], -1
    ).ravel()
    factor = float(first @ second / (first @ first))
    left = np.sqrt(np.mean((second - factor * first) ** 2) / np.mean(second**2))
    if left > SAME_ASIDE:
        return None
    return NoteCode.VIEWS_TOGETHER if factor > 0 else NoteCode.VIEWS_OPPOSITE


def _two_serves(found: Adjusted) -> bool:
    drift = float(np.sqrt(np.mean(found.drifts**2)))
    return drift > DRIFT or found.cost > UNLIKELY * found.independent
