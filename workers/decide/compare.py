"""Compare two groups of repetitions metric by metric, with honest verdicts."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from models.contract.analysis import Analysis, Metric, Repetition
from models.contract.comparison import (
    Comparison,
    ComparisonSide,
    GroupSummary,
    MatchedEvent,
    MetricDifference,
    Verdict,
)
from models.contract.metrics.catalogue import CATALOGUE
from models.contract.metrics.definition import metric_name
from models.contract.note import Note, note
from models.contract.note_codes import NoteCode
from models.contract.vocabulary import Handedness, RepetitionKind, View
from workers.decide import statistics as st
from workers.decide.groups import Slot, in_slot, interval, mean_of
from workers.decide.linked import linked
from workers.decide.makers import maker_notes
from workers.decide.place import one_place, read_alike, strays
from workers.decide.placed import (
    Placed,
    consistency,
    placed,
    shares_places,
    side_difference,
    side_mean,
)
from workers.decide.scatter import Prior
from workers.decide.timewarp import register
from workers.decide.verdicts import Row, judged


@dataclass(frozen=True, slots=True)
class Group:
    """One side of a comparison: a label and the analyses its repetitions come from."""

    label: str
    analyses: tuple[tuple[str, Analysis], ...]
    kind: RepetitionKind = RepetitionKind.SERVE

    def repetitions(self) -> list[Repetition]:
        """Return the repetitions of this side's kind, in order."""
        return [r for _, a in self.analyses for r in a.repetitions if r.kind == self.kind]


def compare(
    first: Group,
    second: Group,
    *,
    same_player: bool = False,
    focus: Sequence[str] = (),
    goals: Mapping[str, int] | None = None,
) -> Comparison:
    """Compare two groups of repetitions.

    Parameters
    ----------
    first, second : Group
        Second minus first is reported.
    same_player : bool
        Both sides show one player. If the camera stood in one place, too, and one engine made
        all results (see `makers`), the errors that both films share drop out of the difference
        (see `statistics.difference`).
    focus : sequence of str
        What was worked on, named beforehand: metric keys, or ``key@event``. Half of the risk of a
        false alarm goes to these, so that smaller changes of them are seen.
    goals : mapping of str to int or None
        Which way each metric should move (`verdicts.goals_of`).

    A metric is ``surely_changed`` when its difference reaches its stated threshold, which belongs
    to a Holm-adjusted p-value over all metrics compared of 0.05: with many metrics at once, one in
    twenty would otherwise look changed by chance. Beyond its own noise alone it is
    ``probably_changed``.
    """
    makers = maker_notes(_films(first, second))
    alike = same_player and not makers
    border = alike and len({a.view.label for a in _films(first, second)}) > 1
    if border:
        first, second = _read_alike(first, second)
    ones, twos = first.repetitions(), second.repetitions()
    slots = _slots([*ones, *twos])
    place = alike and one_place(_films(first, second))
    prior = _consistency(slots, ones, twos) if place else None
    by_place = _by_place(first, second, alike)
    if by_place is not None and alike:
        place, prior = shares_places(by_place), consistency(by_place, list(slots))
    found = [
        _difference(slot, title, (ones, twos), Judging(place, prior, by_place, alike))
        for slot, title in slots.items()
    ]
    named = [(row.model_copy(update={"focus": _named(row, focus)}), d) for row, d in found]
    rows = judged(named, goals or {})
    sides = _side(first, ones), _side(second, twos)
    return Comparison(
        kind=first.kind,
        first=sides[0],
        second=sides[1],
        mirrored=_hands_differ(sides[0].handedness, sides[1].handedness),
        shared_errors_dropped=place,
        focus=tuple(focus),
        differences=tuple(rows),
        linked=linked(rows, ones, twos),
        matched_events=_matched(ones, twos),
        notes=(
            *_notes(sides, ones, twos, place),
            *((note(NoteCode.BORDER_OF_VIEWS),) if border and place else ()),
            *(_stray_notes(first, second) if alike and not place else ()),
            *((note(NoteCode.PLACES_TOGETHER),) if by_place is not None else ()),
            *makers,
            *_focus_notes([row for row, _ in named], focus),
        ),
        engine_version=second.analyses[0][1].engine_version if second.analyses else "",
    )


@dataclass(frozen=True, slots=True)
class Judging:
    """How differences are judged: whether all films are of one place, what is foretold of scatter,
    the sides by place where one was filmed from several, and whether one player and engine made
    all films.
    """

    place: bool
    prior: Prior | None
    by_place: list[list[Placed]] | None
    alike: bool


def _by_place(first: Group, second: Group, alike: bool) -> list[list[Placed]] | None:
    """Return both sides by camera place; None where each was filmed from one."""
    films = [[analysis for _, analysis in group.analyses] for group in (first, second)]
    sides = placed(films, first.kind, alike=alike)
    return sides if any(len(side) > 1 for side in sides) else None


def _films(*groups: Group) -> list[Analysis]:
    return [analysis for group in groups for _, analysis in group.analyses]


def _read_alike(*groups: Group) -> list[Group]:
    films = iter(read_alike(_films(*groups)))
    return [
        replace(group, analyses=tuple((name, next(films)) for name, _ in group.analyses))
        for group in groups
    ]


def _stray_notes(*groups: Group) -> list[Note]:
    """Name the few films for which errors that the others share do not drop out."""
    names = [name for group in groups for name, _ in group.analyses]
    films = strays(_films(*groups))
    if not films:
        return []
    return [note(NoteCode.FILMS_FROM_ELSEWHERE, films=tuple(names[i] for i in films))]


def _hands_differ(one: Handedness, two: Handedness) -> bool:
    return {one, two} == {Handedness.RIGHT, Handedness.LEFT}


def _slots(repetitions: Sequence[Repetition]) -> dict[Slot, str]:
    return {(m.key, m.event): m.title for r in repetitions for m in r.metrics}


def _consistency(
    slots: Iterable[Slot], ones: Sequence[Repetition], twos: Sequence[Repetition]
) -> Prior | None:
    """Return what all metrics say of the scatter between serves."""
    pairs = []
    for slot in slots:
        one, two = (mean_of(in_slot(side, *slot)) for side in (ones, twos))
        if one is not None and two is not None and not CATALOGUE.yes_no(slot[0]):
            pairs.append((one, two))
    return st.consistency(pairs)


def _difference(
    slot: Slot,
    title: str,
    sides: tuple[Sequence[Repetition], Sequence[Repetition]],
    how: Judging,
) -> Row:
    """Return the row of one metric; its verdict stands only when it is not comparable."""
    found = [in_slot(reps, *slot) for reps in sides]
    usable = [[m for m in side if m.measurable] for side in found]
    unit = next(m.unit for side in found for m in side)
    groups = [mean_of(side) for side in usable]
    if how.by_place is not None:
        groups = [side_mean(side, slot) for side in how.by_place]
    summaries = [_summary(g) if g is not None else None for g in groups]
    reason = None
    if groups[0] is None or groups[1] is None:
        reason = _why_not(found, usable)
    elif unit != next(m.unit for m in found[1]):
        reason = note(NoteCode.UNITS_DIFFER)
    if reason is not None or groups[0] is None or groups[1] is None:
        row = MetricDifference(
            key=slot[0],
            title=title,
            event=slot[1],
            unit=unit,
            first=summaries[0],
            second=summaries[1],
            difference=None,
            low=None,
            high=None,
            typical_error=None,
            mdc95=None,
            verdict=Verdict.CANNOT_TELL,
            reason=reason,
        )
        return row, None
    if CATALOGUE.yes_no(slot[0]):
        return _share_difference(slot, title, unit, usable), None
    d = None
    if how.by_place is not None:
        one, two = how.by_place
        d = side_difference(one, two, slot, alike=how.alike, prior=how.prior)
    if d is None:
        d = st.difference(groups[0], groups[1], one_place=how.place, prior=how.prior)
    row = MetricDifference(
        key=slot[0],
        title=title,
        event=slot[1],
        unit=unit,
        first=summaries[0],
        second=summaries[1],
        difference=d.value,
        low=d.low,
        high=d.high,
        typical_error=d.typical_error,
        mdc95=d.mdc95,
        p_value=min(1.0, d.p_value),
        verdict=Verdict.NO_CHANGE_SEEN,
    )
    return row, d


def _share_difference(
    slot: Slot, title: str, unit: str, usable: Sequence[Sequence[Metric]]
) -> MetricDifference:
    """Return the row of a yes/no metric: the difference of the shares, judged exactly."""
    values = [[m.value for m in side if m.value is not None] for side in usable]
    shares = [float(np.mean(side)) for side in values]
    return MetricDifference(
        key=slot[0],
        title=title,
        event=slot[1],
        unit=unit,
        first=GroupSummary(
            value=shares[0], low=shares[0], high=shares[0], repetitions=len(values[0])
        ),
        second=GroupSummary(
            value=shares[1], low=shares[1], high=shares[1], repetitions=len(values[1])
        ),
        difference=shares[1] - shares[0],
        low=None,
        high=None,
        typical_error=None,
        mdc95=None,
        p_value=st.share_p_value(values[0], values[1]),
        verdict=Verdict.NO_CHANGE_SEEN,
    )


def _named(row: MetricDifference, focus: Sequence[str]) -> bool:
    return row.key in focus or metric_name(row.key, row.event) in focus


def _focus_notes(rows: Sequence[MetricDifference], focus: Sequence[str]) -> list[Note]:
    """Say of each name that no value was compared under it."""
    tested = [row for row in rows if row.p_value is not None]
    return [
        note(NoteCode.FOCUS_NOT_COMPARED, name=name)
        for name in focus
        if not any(_named(row, (name,)) for row in tested)
    ]


def _summary(group: st.GroupMean) -> GroupSummary:
    low, high = interval(group)
    return GroupSummary(
        value=group.mean,
        low=low,
        high=high,
        repetitions=group.n,
        spread=group.spread,
    )


def _why_not(found: Sequence[Sequence[Metric]], usable: Sequence[Sequence[Metric]]) -> Note:
    first, second = (
        None
        if good
        else next((m.reason for m in seen if m.reason), None) or note(NoteCode.NOT_MEASURED)
        for seen, good in zip(found, usable, strict=True)
    )
    if first is not None and second is not None:
        return note(NoteCode.NEITHER_MEASURABLE, first=first, second=second)
    if first is not None:
        return note(NoteCode.FIRST_NOT_MEASURABLE, reason=first)
    assert second is not None
    return note(NoteCode.SECOND_NOT_MEASURABLE, reason=second)


def _side(group: Group, repetitions: Sequence[Repetition]) -> ComparisonSide:
    hands = {a.handedness for _, a in group.analyses}
    rates = [a.clip.frame_rate for _, a in group.analyses]
    views: dict[View, None] = {a.view.label: None for _, a in group.analyses}
    return ComparisonSide(
        label=group.label,
        analyses=tuple(name for name, _ in group.analyses),
        repetitions=len(repetitions),
        views=tuple(views),
        handedness=hands.pop() if len(hands) == 1 else Handedness.UNKNOWN,
        frame_rate_low=min(rates) if rates else None,
    )


def _matched(ones: Sequence[Repetition], twos: Sequence[Repetition]) -> tuple[MatchedEvent, ...]:
    if not ones or not twos:
        return ()
    best = [max(reps, key=lambda r: r.confidence) for reps in (ones, twos)]
    registration = register(best[0].events, best[1].events)
    if registration is None:
        return ()
    return tuple(
        MatchedEvent(event=e, first_time_s=float(a), second_time_s=float(b))
        for e, a, b in zip(
            registration.events, registration.first_s, registration.second_s, strict=True
        )
    )


def _notes(
    sides: tuple[ComparisonSide, ComparisonSide],
    ones: Sequence[Repetition],
    twos: Sequence[Repetition],
    place: bool,
) -> tuple[Note, ...]:
    notes = []
    if not ones or not twos:
        notes.append(note(NoteCode.SIDE_EMPTY))
    elif len(ones) == 1 or len(twos) == 1:
        notes.append(note(NoteCode.SINGLE_REPETITION))
    if place:
        notes.append(note(NoteCode.SHARED_ERRORS_DROPPED))
    elif set(sides[0].views) != set(sides[1].views):
        notes.append(note(NoteCode.PLACES_DIFFER))
    return tuple(notes)
