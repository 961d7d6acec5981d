"""How large a true change must be so that a comparison sees it.

"Not changed" alone does not tell a coach whether nothing happened or nothing could have been seen.

Source: minimum detectable value, ISO 11843-1:1997 (capability of detection), here with 10 % of such
changes missed. Noncentral Student t by its normal approximation (Abramowitz and Stegun, Handbook of
Mathematical Functions, 1964, 26.7.10).
"""

from __future__ import annotations

import math

import numpy as np
from scipy import optimize, special, stats

from models.contract.interval import Z95
from workers.decide.statistics import Difference

SEEN = 0.90
"""Nine of ten such comparisons see a change of the detectable size."""
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(21)
"""Places and weights."""
_WEIGHTS = _WEIGHTS / _WEIGHTS.sum()
"""Gauss-Hermite quadrature over a standard normal, 21 points (working value)."""


def detectable(difference: Difference, risk: float) -> float:
    """Return the least true change that nine of ten such comparisons call changed, same unit.

    Parameters
    ----------
    difference : Difference
        Its standard error, its degrees of freedom, and the shares of a change that films show; the
        value found plays no part.
    risk : float
        Risk of a false alarm this metric is tested at, two-sided, in 0..1.

    The share that films show is taken as log-normal between one (what is usually missing was
    undone) and the one it reaches at least (97.5 %).
    """
    if not 0 < risk < 1:
        raise ValueError("a risk lies between 0 and 1")
    se, dof = difference.standard_error, difference.degrees_of_freedom
    if se == 0:
        return 0.0
    spread = max(-math.log(difference.shown), 0.0) / Z95
    shown = np.exp(spread * _NODES)
    critical = float(stats.t.isf(risk / 2, dof) if math.isfinite(dof) else stats.norm.isf(risk / 2))
    middle, width = critical * (1 - 1 / (4 * dof)), math.sqrt(1 + critical**2 / (2 * dof))

    def missed(change: float) -> float:
        below = special.ndtr((middle - shown * change) / width)
        return float(_WEIGHTS @ below) - (1 - SEEN)

    far = critical + 1.0
    while missed(far) > 0:
        far *= 2
    return se * float(optimize.brentq(missed, 0.0, far))
