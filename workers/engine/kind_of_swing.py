"""Serve or slow shadow repetition: how likely a swing after a raised tossing hand is either.

Both are the same movement; speed alone does not part them, since the slowest players serve as fast
as the fastest slow repetition. A tossed ball waits for nobody, so the time between both hands' tops
tells more.
"""

from __future__ import annotations

import math

from models.contract.vocabulary import RepetitionKind

_CONSTANT, _RISE, _FALL, _LAG = -7.3, 1.7, 1.4, -2.9
"""Logistic regression on the logarithms of the hitting hand's greatest upward and downward speed
(torso lengths per second) and of the time between both hands' tops (seconds): 272 serves and 162
shadow repetitions by four generators of movements, ways of moving weighed alike, half of them
filmed."""
_USUAL = 1.0
"""Serves for each shadow repetition that nobody announces (working value: no data; from 2 on most
slow repetitions of a good player would be called serves)."""


def serve_probability(rise: float, fall: float, lag_s: float) -> float:
    """Return the probability of a serve, else a slow shadow repetition.

    Parameters
    ----------
    rise, fall : float
        Greatest upward and downward speed of the hitting hand, torso lengths per second; positive.
    lag_s : float
        From the top of the tossing hand to the top of the hitting hand, seconds; positive.
    """
    odds = _CONSTANT + math.log(_USUAL)
    odds += _RISE * math.log(rise) + _FALL * math.log(fall) + _LAG * math.log(lag_s)
    return 1.0 / (1.0 + math.exp(-odds))


def kind_by(probability: float) -> RepetitionKind:
    """Return the likelier kind."""
    return RepetitionKind.SERVE if probability >= 0.5 else RepetitionKind.SHADOW


_NO_BALL, _BALL = 0.25, 50.0
"""How much likelier a serve is made by a film that was looked through for a ball and shows none in
free flight, and by one that does (working values: of rendered tosses 97 % are seen, of real ones
fewer; a slow repetition needs no ball)."""
BALL_ROOM = 0.45
"""Least room over the shoulders, standing heights, in which a ball would have been seen."""

LONGEST_STEP_S = 1.0 / 24.0
"""Interval between frames over which a ball that is not found need not be missing (the tossed ball
of a real serve at 18 frames a second was not found among 28 moving things a frame)."""


def with_ball(probability: float, *, ball: bool) -> float:
    """Return the probability of a serve once a film was searched for a tossed ball."""
    odds = probability / max(1.0 - probability, 1e-9) * (_BALL if ball else _NO_BALL)
    return odds / (1.0 + odds)
