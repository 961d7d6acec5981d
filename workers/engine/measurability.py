"""What a film can and cannot support, and the reason in words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from models.contract.metrics.definition import Need
from models.contract.metrics.units import facts
from models.contract.vocabulary import EventName, View
from workers.engine.calibration import Residual, residual, views_within
from workers.engine.events import Instant
from workers.engine.metrics.spec import MetricSpec

_WORDS = {
    View.FRONT: "from the net",
    View.FRONT_QUARTER: "from the front quarter",
    View.SIDE: "from the side, facing the chest",
    View.REAR_QUARTER: "from the rear quarter",
    View.BEHIND: "from behind",
    View.BACK_SIDE: "from the side, facing the back",
    View.UNKNOWN: "from an unknown position",
}
SIDE_FACTOR = 2.0
"""From the side, the best place for a single camera, a value is reported with twice the error
that would withhold it elsewhere: its interval says how far to trust it. From elsewhere the error
must be surely within the tolerance, however few the films."""
MIN_FILMS = 2
"""A position from which fewer films with known truth were measured proves nothing."""
FEET_SHARE = 0.8
"""Share of the frames from set-up to contact in which both feet must be seen."""


@dataclass(frozen=True, slots=True)
class FilmContext:
    """What limits the numbers of one repetition.

    Attributes
    ----------
    fps : float
        Capture rate, frames per second.
    view : View or None
        None = joints came from elsewhere: no camera limits apply.
    feet_share : float
        Share of frames in which both feet were seen, 0..1.
    events : mapping of EventName to Instant
    time_doubtful : bool
        The clip's times do not fit free fall.
    calibrated : bool
        False = every value by every method, as measured: nothing corrected, nothing withheld for
        the view, intervals as propagated. Calibration starts from there.
    """

    fps: float
    view: View | None
    feet_share: float
    events: Mapping[EventName, Instant] = field(default_factory=dict)
    time_doubtful: bool = False
    calibrated: bool = True


def why_not(spec: MetricSpec, context: FilmContext, method: str) -> str | None:
    """Return why a metric cannot be measured here and what would allow it, or None if it can.

    ``method`` is the method that would measure it.
    """
    missing = [event.value for event in spec.events if event not in context.events]
    if missing:
        return f"The {' and '.join(missing)} could not be found in the motion."
    if context.time_doubtful and facts(spec.unit).timed:
        return "The clip's times do not fit free fall; state the rate the camera recorded at."
    if context.fps < spec.metric.min_fps - 0.5:
        return (
            f"{context.fps:.0f} frames per second do not resolve this movement; film at "
            f"{spec.metric.min_fps:.0f} or more."
        )
    if context.view is None:
        return None
    if Need.FEET in spec.needs and context.feet_share < FEET_SHARE:
        return (
            "The feet are not in the picture; step back or tilt the camera until both feet stay "
            "in view."
        )
    return _view_limit(spec, context.view, context.fps, method) if context.calibrated else None


def _view_limit(spec: MetricSpec, view: View, fps: float, method: str) -> str | None:
    """Return why the view does not support a metric; unproven positions count as unsuitable."""
    tolerance = spec.metric.tolerance
    if tolerance is None:
        return None
    known = residual(spec.name, view, fps, method)
    unproven = view is not View.SIDE and (known is None or known.count < MIN_FILMS)
    if not unproven and (known is None or _near_enough(known, view, tolerance)):
        return None
    better = [other for other in views_within(spec.name, tolerance, fps) if other != view]
    if unproven and better:
        return f"Not proven {_WORDS[view]}: too few such films; film {_WORDS[better[0]]}."
    if better:
        return f"Not reliable {_WORDS[view]}; film {_WORDS[better[0]]}."
    return (
        f"Not reliable {_WORDS[view]} with one camera at this frame rate; a second camera or "
        "measured joints would be needed."
    )


def _near_enough(known: Residual, view: View, tolerance: float) -> bool:
    if view is View.SIDE:
        return known.mae <= SIDE_FACTOR * tolerance
    return known.mae_limit <= tolerance
