"""Find posture channels that give wanted metrics at one instant: damped Gauss-Newton, batched."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np

from .pose import CHANNELS, Body, pose
from .rotation import Array
from .skeleton import Skeleton

Measure = Callable[[Body], Array]

#: step used for numerical derivatives and the largest step taken, by the kind of channel
_LENGTH_STEP, _ANGLE_STEP = 1e-5, 1e-3
_LENGTH_MOVE, _ANGLE_MOVE = 0.10, 15.0
_LENGTHS = frozenset({"px", "py", "pz", "F_x", "F_y", "F_z", "R_x", "R_y", "R_z"})


def solve_posture(
    skeleton: Skeleton,
    start: Mapping[str, float],
    free: Mapping[str, float],
    targets: list[tuple[Measure, float, float]],
    rounds: int = 40,
) -> dict[str, float]:
    """Posture near `start` that meets the targets.

    Parameters
    ----------
    start : value of every channel
    free : channel -> spread around its start value (a weak pull back to it)
    targets : (measure of a posed body, wanted value, tolerance)
    """
    names = list(free)
    begin = np.array([start[n] for n in names])
    spread = np.array([free[n] for n in names])
    step = np.array([_LENGTH_STEP if n in _LENGTHS else _ANGLE_STEP for n in names])
    move = np.array([_LENGTH_MOVE if n in _LENGTHS else _ANGLE_MOVE for n in names])
    wanted = np.array([t[1] for t in targets])
    tolerance = np.array([t[2] for t in targets])

    def residuals(values: Array) -> Array:
        channels = {n: np.full(len(values), float(start[n])) for n in CHANNELS}
        channels.update({n: values[:, i] for i, n in enumerate(names)})
        body = pose(skeleton, channels)
        seen = np.stack([t[0](body) for t in targets], axis=1)
        return np.concatenate([(seen - wanted) / tolerance, (values - begin) / spread], axis=1)

    x = begin.copy()
    damping = 1e-4
    current = residuals(x[None])[0]
    for _ in range(rounds):
        around = residuals(x + np.diag(step))
        jacobian = ((around - current) / step[:, None]).T
        normal = jacobian.T @ jacobian
        gradient = jacobian.T @ current
        normal = normal + damping * np.diag(np.diag(normal))
        change = -np.linalg.solve(normal, gradient)
        change *= min(1.0, float(np.min(move / np.maximum(np.abs(change), 1e-12))))
        trial = residuals((x + change)[None])[0]
        gain = float(current @ current) - float(trial @ trial)
        if gain > 0.0:
            x, current, damping = x + change, trial, max(damping * 0.3, 1e-9)
            if gain < 1e-5 or float(np.max(np.abs(change) / step)) < 0.1:
                break
        else:
            damping *= 8.0
            if damping > 1e6:
                break
    return {
        **{n: float(start[n]) for n in CHANNELS},
        **dict(zip(names, (float(v) for v in x), strict=True)),
    }
