"""The values of a session: each metric from where it can be seen, all places together."""

from __future__ import annotations

from collections.abc import Sequence

from models.contract.analysis import Analysis, Metric
from models.contract.interval import Z95
from models.contract.metrics.catalogue import CATALOGUE
from models.contract.note import Note, note
from models.contract.note_codes import NoteCode
from models.contract.session_values import FilmedPlace, PlaceValue, SessionValue, SessionValues
from models.contract.vocabulary import RepetitionKind
from workers.decide.groups import Slot
from workers.decide.makers import maker_notes
from workers.decide.places import Place, Together, place_mean, places_of, together
from workers.decide.statistics import holm

RISK = 0.05
"""Chance that any metric is said to disagree where all places agree."""


def session_values(
    analyses: Sequence[tuple[str, Analysis]], kind: RepetitionKind = RepetitionKind.SERVE
) -> SessionValues:
    """Return one value a metric of a session.

    Parameters
    ----------
    analyses : sequence of (str, Analysis)
        Name and analysis of each film of the session; no serve is in two of them.
    kind : RepetitionKind
        Which of their repetitions count.
    """
    films = [one for one in analyses if any(r.kind is kind for r in one[1].repetitions)]
    found = places_of([analysis for _, analysis in films])
    by_place = [_metrics([films[i][1] for i in place.rows], kind) for place in found]
    slots: dict[Slot, Metric] = {}
    for metrics in by_place:
        for slot, rows in metrics.items():
            if not CATALOGUE.yes_no(slot[0]):
                slots.setdefault(slot, rows[0])
    values = [
        _value(first, [metrics.get(slot, []) for metrics in by_place])
        for slot, first in slots.items()
    ]
    values = _tested(values)
    return SessionValues(
        kind=kind,
        places=tuple(_told(place, films, kind) for place in found),
        values=tuple(values),
        notes=_notes(found, values, [analysis for _, analysis in films]),
        engine_version=films[-1][1].engine_version if films else "",
    )


def _metrics(analyses: Sequence[Analysis], kind: RepetitionKind) -> dict[Slot, list[Metric]]:
    found: dict[Slot, list[Metric]] = {}
    for analysis in analyses:
        for repetition in analysis.repetitions:
            for metric in repetition.metrics if repetition.kind is kind else ():
                found.setdefault((metric.key, metric.event), []).append(metric)
    return found


def _value(first: Metric, by_place: Sequence[Sequence[Metric]]) -> SessionValue:
    means = [(number, place_mean(rows)) for number, rows in enumerate(by_place, start=1)]
    known = [(number, mean) for number, mean in means if mean is not None]
    row = {
        "key": first.key,
        "title": first.title,
        "event": first.event,
        "unit": first.unit,
        "repetitions": sum(mean.n for _, mean in known),
    }
    if not known:
        rows = [metric for rows in by_place for metric in rows]
        why = next((m.reason for m in rows if m.reason), None) or note(NoteCode.NOT_MEASURED)
        return SessionValue(**row, value=None, low=None, high=None, reason=why)
    one = together([mean for _, mean in known])
    low, high = _within(first.key, one)
    places = tuple(
        PlaceValue(
            place=number,
            value=mean.mean,
            low=mean.mean - Z95 * float(sd),
            high=mean.mean + Z95 * float(sd),
            repetitions=mean.n,
            weight=min(1.0, float(weight)),
        )
        for (number, mean), sd, weight in zip(known, one.own_sd, one.weights, strict=True)
    )
    return SessionValue(
        **row, value=one.value, low=low, high=high, places=places, p_value=one.disagreement
    )


def _within(_key: str, one: Together) -> tuple[float, float]:
    half = Z95 * one.sd
    return one.value - half, one.value + half


def _tested(values: Sequence[SessionValue]) -> list[SessionValue]:
    """Say of each metric whether the places agree, at one risk over all of them.

    Where they do not, the interval spans what each place says.
    """
    rows = [i for i, value in enumerate(values) if value.p_value is not None]
    adjusted = dict(
        zip(rows, holm([values[i].p_value or 0.0 for i in rows]), strict=True) if rows else ()
    )
    found = []
    for i, value in enumerate(values):
        if i not in adjusted:
            found.append(value)
            continue
        agree = adjusted[i] > RISK
        update: dict[str, object] = {"p_value": adjusted[i], "agree": agree}
        if not agree:
            ends = [place.value for place in value.places]
            assert value.low is not None
            assert value.high is not None
            update |= {"low": min(value.low, *ends), "high": max(value.high, *ends)}
        found.append(value.model_copy(update=update))
    return found


def _told(place: Place, films: Sequence[tuple[str, Analysis]], kind: RepetitionKind) -> FilmedPlace:
    mine = [films[i] for i in place.rows]
    return FilmedPlace(
        view=place.view,
        azimuth_deg=place.azimuth_deg,
        both_views=place.both_views,
        analyses=tuple(name for name, _ in mine),
        repetitions=sum(r.kind is kind for _, a in mine for r in a.repetitions),
    )


def _notes(
    places: Sequence[Place], values: Sequence[SessionValue], films: Sequence[Analysis]
) -> tuple[Note, ...]:
    notes = []
    if not films:
        notes.append(note(NoteCode.SESSION_WITHOUT_SERVES))
    elif len(places) == 1 and not places[0].both_views:
        notes.append(note(NoteCode.SESSION_ONE_PLACE))
    apart = tuple(dict.fromkeys(value.key for value in values if value.agree is False))
    if apart:
        notes.append(note(NoteCode.PLACES_DISAGREE, names=apart))
    notes.extend(maker_notes(films))
    return tuple(notes)
