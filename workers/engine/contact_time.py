"""When the ball is struck: everything that tells it, weighed by how sure it is.

Each kind of evidence gives a likelihood over the same instants; they multiply. None is trusted
without limit: each may be about something else, so that the tails stay heavy.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from models.contract.tracks import FloatArray
from workers.engine.evidence import Evidence
from workers.engine.struck import end_of_toss, way_out
from workers.engine.toss_return import near

REACH_S = 0.2
"""Contact is looked for so long before and after the highest wrist at full speed, seconds."""
GRID_S = 1.0 / 960.0
"""Step of the instants, seconds."""
HAND_LAG_S, HAND_SD_S = 0.015, 0.03
"""From the highest wrist to contact, and its standard deviation, seconds: rendered serves of four
kinds of movement 0.01 to 0.03, recorded ones 0.018, real ones from behind 0 to -0.03; wide on
purpose, since it is the movement's own."""
LEARNED_SD_S = 0.03
"""Of the learned lift's contact where it gives one (root mean square of 36 ms over ten rendered
films with a ball, of 29 ms over 518 simulated views)."""
OTHERWISE = 0.1
"""Probability that hand or lift tell of something else."""
WRONG_PATH = 0.12
"""Probability that the toss is none, or hidden where it ends (racket, arm, background; in two of
eleven rendered films for 0.03 to 0.05 s)."""
WRONG_WAY = {2: 0.7, 3: 0.4, 4: 0.2, 5: 0.1}
"""Probability that a way out of so many sightings is none; more sightings: `SURE_WAY`."""
SURE_WAY = 0.05
"""Working values, chosen on rendered and simulated films."""
END_OF_TOSS_S = 0.22
"""The end of the toss is fitted by so much of it, seconds (working value)."""
UNHEARD = 0.4
"""Probability that none of the sharp sounds is the ball's (other courts, steps; working value)."""
LEAST_REACH_S = 0.008
"""The time that is told has most of what is likely within a frame about it, or so many seconds
(working value)."""
LOUD_DB = 12.0
"""Sounds weigh by their rise over this, at most threefold (working value)."""


@dataclass(frozen=True, slots=True)
class ContactTime:
    """Time, standard uncertainty, and what it was told by, the strongest first."""

    time_s: float
    sd_s: float
    sources: tuple[str, ...]


def contact_time(
    highest_s: float,
    stretch: float,
    step_s: float,
    learned_s: float | None = None,
    evidence: Evidence | None = None,
    end_s: float = np.inf,
) -> ContactTime:
    """Return when the ball was struck, or would have been.

    Parameters
    ----------
    highest_s : float
        When the hitting wrist is highest, seconds.
    stretch : float
        How many times slower than a full-speed serve the swing is.
    step_s : float
        Interval between frames, seconds.
    learned_s : float, optional
        As the learned lift has it.
    evidence : Evidence, optional
    end_s : float
        End of what was seen, seconds.
    """
    reach = REACH_S * stretch
    grid = np.arange(highest_s - reach, min(highest_s + reach, end_s) + GRID_S, GRID_S)
    terms = {
        "hand": _near(
            grid,
            highest_s + HAND_LAG_S * stretch,
            float(np.hypot(HAND_SD_S * stretch, step_s / 2.0)),
            OTHERWISE,
        )
    }
    if learned_s is not None:
        sd = float(np.hypot(LEARNED_SD_S, step_s / 3.0))
        terms["learned"] = _near(grid, learned_s, sd, OTHERWISE)
    if evidence is not None:
        ball = _ball(grid, evidence, sum(terms.values(), np.zeros(len(grid))))
        if ball is not None:
            terms["ball"] = ball
        sound = _sound(grid, evidence)
        if sound is not None:
            terms["sound"] = sound
    total = sum(terms.values(), np.zeros(len(grid)))
    share = _normal(total)
    time = _centre(grid, share, max(step_s, LEAST_REACH_S))
    sd = float(np.sqrt(np.sum(share * (grid - time) ** 2)))
    told = [name for name in terms if name != "sound" or _agrees(terms["sound"], grid, time)]
    told.sort(key=lambda name: -_gain(terms[name], grid, time))
    return ContactTime(time, max(sd, step_s / np.sqrt(12.0)), tuple(told))


def _near(grid: FloatArray, time: float, sd: float, otherwise: float) -> FloatArray:
    """Return the log of a normal density with a floor: the probability of something else."""
    density = np.exp(-0.5 * ((grid - time) / sd) ** 2) / (sd * np.sqrt(2.0 * np.pi))
    span = max(float(grid[-1] - grid[0]), 1e-3)
    return np.asarray(np.log((1.0 - otherwise) * density + otherwise / span))


def _ball(grid: FloatArray, evidence: Evidence, before: FloatArray) -> FloatArray | None:
    toss, things = evidence.toss, evidence.things
    if toss is None or things is None:
        return None
    last = float(toss.seen_s[-1])
    toss = near(toss, things, last - END_OF_TOSS_S, last)
    ended = _normal(end_of_toss(toss, things, grid, evidence.top))
    result = np.log((1.0 - WRONG_PATH) * ended + WRONG_PATH / len(grid))
    # where it is looked for: where all that is known by now leaves more than a thousandth
    likely = np.flatnonzero(_normal(result + before) > 1e-3 / len(grid))
    within = grid[likely[0] : likely[-1] + 1]
    out = way_out(toss, things, within)
    if out is not None:
        wrong = WRONG_WAY.get(out.seen, SURE_WAY)
        share = np.zeros(len(grid))
        share[likely[0] : likely[-1] + 1] = _normal(out.likely)
        result = result + np.log((1.0 - wrong) * share + wrong / len(grid))
    return np.asarray(result)


def _sound(grid: FloatArray, evidence: Evidence) -> FloatArray | None:
    struck = evidence.heard_s - evidence.delay_s
    about = (struck > grid[0] - 0.05) & (struck < grid[-1] + 0.05)
    if not about.any():
        return None
    loud = np.clip(evidence.heard_db[about] / LOUD_DB, 0.5, 3.0)
    sd = evidence.delay_sd_s
    parts = np.exp(-0.5 * ((grid - struck[about, None]) / sd) ** 2) / (sd * np.sqrt(2.0 * np.pi))
    mixed = (loud[:, None] * parts).sum(axis=0) / loud.sum()
    span = float(grid[-1] - grid[0])
    return np.asarray(np.log((1.0 - UNHEARD) * mixed + UNHEARD / span))


def _normal(log: FloatArray) -> FloatArray:
    share = np.exp(log - np.max(log))
    return np.asarray(share / share.sum())


def _centre(grid: FloatArray, share: FloatArray, reach_s: float) -> float:
    """Return the mean of the stretch of two reaches that holds most: what is elsewhere widens the
    uncertainty only.
    """
    reach = max(round(reach_s / GRID_S), 1)
    held = np.convolve(share, np.ones(2 * reach + 1), mode="same")
    best = int(np.argmax(held))
    main = slice(max(best - reach, 0), best + reach + 1)
    return float(np.sum(share[main] * grid[main]) / np.sum(share[main]))


def _agrees(term: FloatArray, grid: FloatArray, time: float) -> bool:
    """Return whether a sound speaks for the time that was found."""
    return _gain(term, grid, time) > 0.3


def _gain(term: FloatArray, grid: FloatArray, time: float) -> float:
    """Return how much more likely a term holds the time than an average instant, logarithm."""
    at = float(np.interp(time, grid, term))
    return at - float(np.log(np.mean(np.exp(term - term.max())))) - float(term.max())


def said(sources: Sequence[str]) -> str:
    """Return sources as the method of an event."""
    return "+".join(sources)
