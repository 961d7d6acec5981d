"""The three things a player should know first, from the numbers and the plan."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from statistics import NormalDist
from typing import Literal, TypeVar

from models.contract.analysis import Analysis
from models.contract.comparison import MetricDifference
from models.contract.metrics.catalogue import CATALOGUE
from models.contract.plan import PracticePlan, RankedFinding, UndecidedFinding
from models.contract.progress import MetricProgress
from models.contract.thresholds import Threshold
from models.contract.vocabulary import EventName, Severity
from models.words import Measured, Words
from models.words.words import Named
from workers.report.goals import threshold_at, thresholds_or_shipped

Standing = Literal["below", "inside", "above"]
Keyed = TypeVar("Keyed", MetricDifference, MetricProgress)
COUNT = 3
"""Findings at the head of a page."""


SURE, PROBABLE = 0.975, 0.8
"""Probabilities from which a statement stands as it is, or as probable; below it is not made."""


@dataclass(frozen=True, slots=True)
class Band:
    """A published or usual range of one metric at one event; the words give its source."""

    key: str
    event: EventName
    low: float | None
    high: float | None
    rule: str | None = None
    """Where the range comes from, if the practice rules have set it."""

    def standing(self, value: float) -> Standing:
        """Return where a value lies."""
        if self.low is not None and value < self.low:
            return "below"
        return "above" if self.high is not None and value > self.high else "inside"

    def certainty(self, value: float, low: float, high: float) -> float:
        """Return the probability that the true value lies where the measured one does.

        The error is taken as normal; the 95 % interval is 3.92 standard deviations wide.
        """
        error = NormalDist(value, max((high - low) / 3.92, 1e-12))
        below = 0.0 if self.low is None else error.cdf(self.low)
        above = 0.0 if self.high is None else 1.0 - error.cdf(self.high)
        shares = {"below": below, "above": above, "inside": 1.0 - below - above}
        return shares[self.standing(value)]


BANDS: tuple[Band, ...] = tuple(
    Band(metric.key, taken.event, taken.usual.low, taken.usual.high)
    for metric in CATALOGUE.ranked()
    for taken in metric.taken
    if taken.event is not None and taken.usual is not None
)


def ruled(band: Band, threshold: Threshold | None) -> Band:
    """Return a range as the practice rules have it: their threshold is the one that counts."""
    if threshold is None:
        return band
    value = threshold.value
    if threshold.is_ == "<=":
        high = band.high if band.high is not None and band.high > value else None
        changed = replace(band, low=value, high=high)
    else:
        low = band.low if band.low is not None and band.low < value else None
        changed = replace(band, low=low, high=value)
    same = (changed.low, changed.high) == (band.low, band.high)
    return band if same else replace(changed, rule=threshold.source)


@dataclass(frozen=True, slots=True)
class Pooled:
    """One metric over all repetitions of a clip.

    The bounds are means of the bounds: repetitions of one film share most of their error, so
    averaging does not narrow the interval.
    """

    metric: Measured
    value: float
    low: float
    high: float
    repetitions: int


@dataclass(frozen=True, slots=True)
class Statement:
    """One finding in words, with the number behind it; ``more`` says where it comes from."""

    headline: str
    details: tuple[str, ...]
    tone: Literal["work", "fine", "look"]
    number: Pooled | None = None
    band: Band | None = None
    more: tuple[str, ...] = ()


def pooled(analysis: Analysis, key: str, event: EventName | None) -> Pooled | None:
    """Return the mean of a metric over the repetitions that measure it."""
    found = [
        (m, m.value, m.low, m.high)
        for repetition in analysis.repetitions
        for m in repetition.metrics
        if m.key == key and m.event is event and m.measurable
    ]
    rows = [
        (m, value, low, high)
        for m, value, low, high in found
        if value is not None and low is not None and high is not None
    ]
    if not rows:
        return None
    count = len(rows)
    value = sum(row[1] for row in rows) / count
    low = sum(row[2] for row in rows) / count
    high = sum(row[3] for row in rows) / count
    return Pooled(rows[0][0], value, low, high, count)


def one_a_movement(rows: Iterable[Keyed]) -> list[Keyed]:
    """Return the first row of every movement: one movement is not three findings.

    Variants of a metric (absolute, largest, between the middles of the feet) are one movement.
    """
    first: dict[str, Keyed] = {}
    for row in rows:
        first.setdefault(CATALOGUE.movement(row.key), row)
    return list(first.values())


def statements(
    analysis: Analysis, words: Words, plan: PracticePlan | None = None
) -> list[Statement]:
    """Return up to three statements: the plan's focus first, then the surest of the rest.

    Order: what calls for work and is sure, what is fine, what is probable, what is too close to
    call with how to film. Ranges are those of the practice rules, of the plan or of the analysis,
    and nothing is said beside a plan that it does not say. A film that supports fewer than three
    statements says so in a last one.
    """
    thresholds = thresholds_or_shipped(analysis.thresholds if plan is None else plan.thresholds)
    ranked = [] if plan is None else [f for f in (plan.focus, *plan.others) if f is not None]
    ranked = [one for one in ranked if one.certainty >= PROBABLE]
    chosen = [_planned(one, analysis, thresholds, words) for one in ranked[:2]]
    taken = {
        (key, one.finding.event)
        for one in ranked
        for key in (one.finding.metric, one.finding.otherwise)
    }
    graded = in_ranges(
        lambda key, event: pooled(analysis, key, event), thresholds, words, plan, frozenset(taken)
    )
    if plan is None and (turned := _coil(analysis, words)) is not None:
        graded.append(turned)
    chosen += [statement for _, _, statement in sorted(graded, key=lambda g: g[:2])]
    if plan is not None:
        chosen += [_undecided(one, analysis, thresholds, words) for one in plan.undecided]
    chosen = chosen[:COUNT]
    if len(chosen) < COUNT:
        chosen.append(_not_enough(analysis, words))
    return chosen


Graded = tuple[int, int, Statement]
"""A statement with its grade and rank: the lower, the sooner it is made."""


def in_ranges(
    number_of: Callable[[str, EventName], Pooled | None],
    thresholds: Sequence[Threshold],
    words: Words,
    plan: PracticePlan | None = None,
    taken: Collection[tuple[str | None, EventName | None]] = (),
) -> list[Graded]:
    """Return what can be said of values that have a published, usual or ruled range.

    Parameters
    ----------
    number_of : callable
        Returns the value of a metric at an event; None where it was not measured.
    taken : collection of (str, EventName)
        What is spoken of already.
    """
    graded: list[Graded] = []
    for rank, band in enumerate(BANDS):
        threshold = threshold_at(thresholds, band.key, band.event)
        judged = None if plan is None or threshold is None else _judged(plan, threshold.finding)
        if judged == "said" or (band.key, band.event) in taken:
            continue
        number = number_of(band.key, band.event)
        if number is None:
            continue
        band = ruled(band, threshold)
        standing = band.standing(number.value)
        certainty = band.certainty(number.value, number.low, number.high)
        if certainty < PROBABLE or (judged == "cleared" and standing != "inside"):
            continue
        sure = certainty >= SURE
        if words.find(f"finding.{band.key}.{band.event.value}.{standing}") is None:
            continue
        grade = {(True, False): 0, (True, True): 1, (False, False): 2, (False, True): 3}
        order = grade[(sure, standing == "inside")]
        graded.append((order, rank, _banded(number, band, standing, certainty, words)))
    return graded


def _coil(analysis: Analysis, words: Words) -> Graded | None:
    """Return what the judgements of the coil say without a plan, graded; None if not enough."""
    judged = [r.coil for r in analysis.repetitions if r.coil is not None]
    away = [one.turned_away for one in judged if one.turned_away is not None]
    bent = [one.only_bent for one in judged if one.only_bent is not None]
    entries: tuple[tuple[str, Literal["fine", "work"], list[float]], ...] = (
        ("turned_away", "fine", away),
        ("only_bent", "work", bent),
    )
    for entry, tone, known in entries:
        probability = sum(known) / len(known) if known else 0.0
        if probability < PROBABLE:
            continue
        sure = probability >= SURE
        statement = Statement(
            _hedged(words(f"coil.card_{entry}"), probability, words),
            (words(f"coil.{entry}", probability=probability),),
            tone if sure else "look",
            more=(words("finding.source", source=words("coil.source")),),
        )
        return {"work": 0, "fine": 1}[tone] if sure else 2, -1, statement
    return None


def _judged(plan: PracticePlan, finding: str) -> Literal["said", "cleared"] | None:
    """Return whether a plan speaks of a finding itself, or has found that it does not hold."""
    spoken = [f for f in (plan.focus, *plan.others) if f is not None]
    spoken += [one.ranked for one in plan.undecided]
    if any(one.finding.id == finding for one in spoken):
        return "said"
    missing = any(line.parameters.get("finding") == finding for line in plan.not_judged)
    return None if missing else "cleared"


def _band_of(key: str, event: EventName | None, thresholds: Sequence[Threshold]) -> Band | None:
    found = next((b for b in BANDS if (b.key, b.event) == (key, event)), None)
    return None if found is None else ruled(found, threshold_at(thresholds, key, event))


def _undecided(
    one: UndecidedFinding,
    analysis: Analysis,
    thresholds: Sequence[Threshold],
    words: Words,
) -> Statement:
    """Say that a finding is too close to call, and how to film so that it can be told."""
    planned = _planned(one.ranked, analysis, thresholds, words)
    text = words.inside(words.sentence(one.ranked.finding.text).rstrip(" ."))
    return replace(
        planned,
        headline=words("finding.undecided", text=text),
        details=(*planned.details[:1], words.note(one.how_to_film)),
        tone="look",
    )


def _planned(
    ranked: RankedFinding, analysis: Analysis, thresholds: Sequence[Threshold], words: Words
) -> Statement:
    finding = ranked.finding
    key = ranked.measured_by or finding.metric
    number = pooled(analysis, key, finding.event)
    metric = number.metric if number else None
    details = [measured_words(ranked, words)]
    more = [] if ranked.measured_by is None else [judged_otherwise(ranked, words)]
    more.append(words("finding.source", source=words.sentence(finding.source)))
    band = _band_of(key, finding.event, thresholds)
    shown = None
    value, low, high = ranked.value, ranked.low, ranked.high
    if metric is not None and value is not None and low is not None and high is not None:
        shown = Pooled(metric, value, low, high, 1)
    text = words.sentence(finding.text)
    headline = _hedged(text.rstrip(" ."), ranked.certainty, words)
    tone: Literal["work", "look"] = "work" if ranked.certainty >= PROBABLE else "look"
    return Statement(headline, tuple(details), tone, shown, band, tuple(more))


def measured_words(ranked: RankedFinding, words: Words) -> str:
    """Return what a finding rests on: its value, or how probable a squat is."""
    if ranked.value is None or ranked.low is None or ranked.high is None:
        return words("coil.only_bent", probability=ranked.certainty)
    named = Named(ranked.measured_by or ranked.finding.metric, ranked.finding.unit)
    return words(
        "finding.measured",
        value=words.value(ranked.value, named),
        interval=words.interval(ranked.low, ranked.high, named),
    )


def judged_otherwise(ranked: RankedFinding, words: Words) -> str:
    """Say that a finding was judged by its other metric."""
    used, first = (
        words.inside(words.title(Named(key or "", ranked.finding.unit)))
        for key in (ranked.measured_by, ranked.finding.metric)
    )
    return words("finding.judged_otherwise", used=used, first=first)


def _hedged(text: str, certainty: float, words: Words) -> str:
    """Put a statement as firmly as its certainty allows."""
    return text if certainty >= SURE else words("finding.probably", text=words.inside(text))


def _banded(
    number: Pooled, band: Band, standing: Standing, certainty: float, words: Words
) -> Statement:
    entry = f"finding.{band.key}.{band.event.value}"
    text = words(f"{entry}.{standing}")
    headline = _hedged(text, certainty, words)
    measured = words(
        "finding.measured",
        value=words.value(number.value, number.metric),
        interval=words.interval(number.low, number.high, number.metric),
    )
    more = [
        band_words(band, number.metric, words),
        words("finding.source", source=_source(band, entry, words)),
    ]
    if number.repetitions > 1:
        more.insert(0, words("page.mean_note", count=number.repetitions))
    tone: Literal["work", "fine", "look"] = (
        "look" if certainty < SURE else "fine" if standing == "inside" else "work"
    )
    return Statement(headline, (measured,), tone, number, band, tuple(more))


def band_words(band: Band, metric: Measured, words: Words) -> str:
    """Return the range of a band as a sentence."""
    low, high = (None if end is None else words.value(end, metric) for end in (band.low, band.high))
    if high is None:
        return words("finding.rule", low=low)
    if low is None:
        return words("finding.rule_most", high=high)
    return words("finding.usual" if band.rule is None else "finding.ruled", low=low, high=high)


def _source(band: Band, entry: str, words: Words) -> str:
    return words(f"{entry}.source") if band.rule is None else words.sentence(band.rule)


def _not_enough(analysis: Analysis, words: Words) -> Statement:
    """Say what is missing, in the words of the clip's own problems where there are any."""
    reasons: Sequence[str] = [words.note(p.note) for p in analysis.problems] or [
        words.note(check.detail)
        for check in analysis.usability.checks
        if not check.passed and check.severity is not Severity.NOTE
    ]
    reason = reasons[0] if reasons else words("finding.not_enough_default")
    return Statement(
        words("finding.not_enough_title"),
        (words("finding.not_enough", reason=reason),),
        "look",
    )
