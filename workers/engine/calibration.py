"""What films with known truth showed per metric and camera view: the bias, and the error left.

A recognised systematic error is taken out of the value, and what is left widens the interval
(JCGM 100:2008, 3.2.4 and 4.3). The figures are learned data (`workers.learned` reads them), made
by ``python -m models.training calibration`` from films with known truth, and by ``python -m
models.training.rendered.two_sessions``.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType

from models.contract.frame_rate import rate_class
from models.contract.vocabulary import EventName, RepetitionKind, View

ErrorRow = tuple[float, float, float, int] | tuple[float, float, float, int, float, float, float]
ErrorTable = Mapping[tuple[str, str, str, str], ErrorRow]
"""(metric of a kind of work, view, rate, method) to the values of `Residual`."""
EventTable = Mapping[tuple[str, str, str], tuple[float, int]]
"""(event, view, rate) to (standard uncertainty in seconds, count)."""
ShareTable = Mapping[tuple[str, str], tuple[float, float, float, float, int]]
"""(metric, view or "any") to the values of `RepeatShares`, and the count of players."""


LEAST_R2 = 0.3
"""Squared correlation below which a value says more of serves in general than of this one: it is
withheld (working value: at 0.3 an answer halves the variance of a guess by less than a third)."""
FEW_TIMES = 16
"""The same of an event's time: it takes more films to tell how far off it is (working value: two of
eight that were found elsewhere made 0.3 s of all loaded instants at 30 frames a second)."""
ALIKE_R2 = 0.05
"""Methods whose squared correlations differ by less are chosen by their error (working value)."""

SLOW = frozenset({EventName.SET_UP, EventName.LOADING, EventName.TROPHY})
"""Instants at which legs and trunk are slow: 30 frames a second show their posture as well as 60.
On films of known truth, the weight over the rear foot at loading erred by 0.055 and 0.059 in the
mean, squared correlation 0.97 and 0.95; the height of contact told 0.2 and 0.7 to 0.9."""
FEW = 8
"""Films below which a frame rate has no figures of its own at a slow instant (working value: what
three films said of 30 frames a second withheld the weight over the rear foot from all such)."""


def work_name(name: str, kind: RepetitionKind) -> str:
    """Return what a table calls a metric of a kind of work: serves are not named."""
    return name if kind is RepetitionKind.SERVE else f"{kind.value}:{name}"


@dataclass(frozen=True, slots=True)
class Residual:
    """What is known of a metric's error from one view.

    Attributes
    ----------
    bias : float
        Systematic error to take out of the value, metric units.
    sd : float
        Standard deviation to add in quadrature to the propagated one, metric units.
    mae : float
        Mean absolute error on the calibration clips, the bias taken out.
    count : int
        Number of values it rests on.
    r2 : float
        Squared correlation of measured and true value over postures spread evenly over what
        bodies can do: the share of what makes a player particular that a value tells.
    slope, slope_sd : float
        Of measured on true value: the share of a true difference that is shown; and how surely it
        is known, one standard deviation.
    """

    bias: float
    sd: float
    mae: float
    count: int
    r2: float = 1.0
    slope: float = 1.0
    slope_sd: float = 0.0

    @property
    def informative(self) -> bool:
        """Whether a value tells enough of the player to be told."""
        return self.r2 >= LEAST_R2

    @property
    def mae_limit(self) -> float:
        """What the mean absolute error may well be, few values considered: its upper 80 % limit.

        The standard deviation of absolute normal errors is three quarters of their mean.
        """
        return self.mae * (1.0 + 0.84 * 0.75 / math.sqrt(max(self.count, 1)))


NOT_CALIBRATED = Residual(0.0, 0.0, 0.0, 0)
"""Of a metric that no film was measured for: nothing is taken out, nothing is added."""


@dataclass(frozen=True, slots=True)
class RepeatShares:
    """Shares of a metric's standard uncertainty left between films of one player from one place.

    Attributes
    ----------
    session : float
        What all serves of a session share.
    serve : float
        What differs from serve to serve.
    shown : float
        Share of a true change between two sessions that films show at least (97.5 %).
    usually : float
        Share of it that they usually show.
    """

    session: float
    serve: float
    shown: float
    usually: float

    @property
    def both(self) -> float:
        """Share left between two single serves of two sessions."""
        return math.hypot(self.session, self.serve)


@dataclass(frozen=True, slots=True)
class Calibration:
    """Everything known of errors on film; empty = nothing was ever calibrated."""

    metrics: ErrorTable = field(default_factory=lambda: MappingProxyType({}))
    events: EventTable = field(default_factory=lambda: MappingProxyType({}))
    shares: ShareTable = field(default_factory=lambda: MappingProxyType({}))
    _methods: Mapping[str, tuple[str, ...]] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        found: dict[str, set[str]] = {}
        for metric, _, _, method in self.metrics:
            found.setdefault(metric, set()).add(method)
        object.__setattr__(self, "_methods", {name: tuple(sorted(m)) for name, m in found.items()})

    def residual(
        self,
        name: str,
        view: View,
        fps: float,
        method: str,
        kind: RepetitionKind = RepetitionKind.SERVE,
    ) -> Residual | None:
        """Return the calibrated error of a metric by a method, or None if never calibrated.

        Parameters
        ----------
        name : str
            `MetricSpec.name`.
        view : View
        fps : float
            Falls back to the figures of the other rate where a cell is empty; at a slow instant a
            cell of few films is joined with that of the other rate.
        method : str
            ``BodyMotion.method``, or that of the direct answers.
        kind : RepetitionKind
            Work of one kind is calibrated on films of that kind.
        """
        named = work_name(name, kind)
        rows = (self.metrics.get((named, view.value, rate, method)) for rate in _rates(fps))
        known = [Residual(*row) for row in rows if row is not None]
        if len(known) == 2 and known[0].count < FEW <= known[1].count and _slow(name):
            return _joined(*known)
        return known[0] if known else None

    def repeat_shares(self, name: str, view: View) -> RepeatShares | None:
        """Return the shares of a metric from a view, else from all views together, or None if
        they were never measured.
        """
        row = self.shares.get((name, view.value)) or self.shares.get((name, "any"))
        return None if row is None else RepeatShares(*row[:4])

    def best_method(
        self,
        name: str,
        view: View,
        fps: float,
        methods: Sequence[str],
        kind: RepetitionKind = RepetitionKind.SERVE,
    ) -> str:
        """Return the method that tells most; of those about alike the one with the least error.

        The first if none is known.
        """
        found = [
            (known, method)
            for method in methods
            if (known := self.residual(name, view, fps, method, kind)) is not None
        ]
        if not found:
            return methods[0]
        most = max(known.r2 for known, _ in found) - ALIKE_R2
        return min((known.mae, method) for known, method in found if known.r2 >= most)[1]

    def event_sd(self, event: EventName, view: View, fps: float) -> float | None:
        """Return the calibrated standard uncertainty of an event's time in seconds, or None.

        Figures of the other rate are widened by what sampling leaves at this one
        (``dt / sqrt 12``), where that is more. At a slow instant few times of one rate are joined
        with those of the other.
        """
        own, other = (self.events.get((event.value, view.value, rate)) for rate in _rates(fps))
        sampling = 1.0 / max(fps, 1.0) / math.sqrt(12.0)
        if own is None:
            return None if other is None else math.hypot(other[0], sampling)
        if other is None or event not in SLOW or own[1] >= FEW_TIMES or own[1] >= other[1]:
            return own[0]
        count = own[1] + other[1]
        square = (own[1] * own[0] ** 2 + other[1] * (other[0] ** 2 + sampling**2)) / count
        return math.sqrt(square)

    def views_within(
        self,
        name: str,
        tolerance: float | None,
        fps: float,
        kind: RepetitionKind = RepetitionKind.SERVE,
    ) -> list[View]:
        """Return the views from which a value is informative and surely within a tolerance.

        Best first; ``None`` sets no limit to the error.
        """
        named = work_name(name, kind)
        methods = self._methods.get(named, ())
        found: list[tuple[float, View]] = []
        for view in View:
            known = [self.residual(name, view, fps, method, kind) for method in methods]
            errors = [each.mae_limit for each in known if each is not None and each.informative]
            if errors and (tolerance is None or min(errors) <= tolerance):
                found.append((min(errors), view))
        return [view for _, view in sorted(found, key=lambda item: item[0])]


NEVER_CALIBRATED = Calibration()
"""For joints that came from elsewhere: no film's errors apply."""


def _slow(name: str) -> bool:
    return name.partition("@")[2] in SLOW


def _joined(few: Residual, many: Residual) -> Residual:
    """Return what films of both rates show, by how many there are; bias as the many have it."""
    count = few.count + many.count
    share = few.count / count

    def mean(one: float, other: float) -> float:
        return share * one + (1.0 - share) * other

    return Residual(
        many.bias,
        math.sqrt(mean(few.sd**2, many.sd**2)),
        mean(few.mae, many.mae),
        count,
        mean(few.r2, many.r2),
        mean(few.slope, many.slope),
        mean(few.slope_sd, many.slope_sd),
    )


def _rates(fps: float) -> tuple[str, str]:
    """Return the class of a frame rate, and the other one."""
    return ("low", "usual") if rate_class(fps) == "low" else ("usual", "low")
