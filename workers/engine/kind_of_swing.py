"""Serve or slow shadow repetition: how likely a swing after a raised tossing hand is either.

Both are the same movement; speed alone does not part them, since the slowest players serve as fast
as the fastest slow repetition. A tossed ball waits for nobody, so the time between both hands' tops
tells more.
"""

from __future__ import annotations

import math

_CONSTANT, _RISE, _FALL, _LAG = -7.3, 1.7, 1.4, -2.9
"""Logistic regression on the logarithms of the hitting hand's greatest upward and downward speed
(torso lengths per second) and of the time between both hands' tops (seconds): 272 serves and 162
shadow repetitions by four generators of movements, ways of moving weighed alike, half of them
filmed."""
_USUAL = 2.0
"""Serves for each shadow repetition that nobody announces (working value)."""


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
