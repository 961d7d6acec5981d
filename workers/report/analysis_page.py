"""The report of one analysis as one self-contained HTML file."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from markupsafe import Markup

from models.contract.analysis import Analysis, Metric, Repetition
from models.contract.plan import PracticePlan
from models.contract.vocabulary import EventName, RepetitionKind, Severity
from models.words import Measured, Words, english
from workers.report.coil_part import coil_lines
from workers.report.findings import COUNT, Band, Statement, statements
from workers.report.first_screen import FirstScreen
from workers.report.from_coach import NOTHING, FromCoach
from workers.report.instants import ShownInstant, instants_of, named
from workers.report.page import (
    Cell,
    PagePicture,
    Table,
    TableRow,
    hand,
    missing_rows,
    page_picture,
    render,
    repetitions,
    row_groups,
    views,
)
from workers.report.pictures import heading, metrics_at, picture_name
from workers.report.plan_part import next_lines, plan_words
from workers.report.plot import strip
from workers.report.typical_part import typical_lines, typical_table
from workers.report.views_part import views_part


@dataclass(frozen=True, slots=True)
class Card:
    """A statement with its plot."""

    headline: str
    details: tuple[str, ...]
    tone: str
    plot: Markup | None
    more: tuple[str, ...] = ()


def analysis_page(
    analysis: Analysis,
    pictures: Mapping[str, bytes],
    *,
    plan: PracticePlan | None = None,
    player: str | None = None,
    coach: FromCoach = NOTHING,
    film: bytes | None = None,
    words: Words | None = None,
) -> str:
    """Return the report of one analysis.

    Parameters
    ----------
    pictures : mapping of str to bytes
        What `event_pictures` gave; names it does not know are left out.
    plan : PracticePlan or None
        Its focus leads the findings, its steps follow the table.
    player : str or None
        Name to print, as the integrating app calls the player.
    coach : FromCoach
        What the coach adds.
    film : bytes or None
        The annotated film, MP4; the page of two films of one serve holds it.
    """
    words = words or english()
    found = statements(analysis, words, plan)
    cards = [card(statement, words) for statement in found]
    cautions = (*analysis.cautions, *(plan.cautions if plan else ()))
    shown, other_pictures = _pictures(analysis, pictures, words)
    typical = analysis.typical
    return render(
        "analysis.html.j2",
        title=_title(analysis, words),
        words=words,
        cautions=cautions,
        first=replace(_first(analysis, pictures, plan, cards, words), coach=coach),
        player=player,
        none_found=not analysis.repetitions,
        findings_title=words("page.findings" if len(cards) == COUNT else "page.findings_fewer"),
        statements=cards,
        pictures=shown,
        other_pictures=other_pictures,
        views=views_part(analysis, pictures, film, words),
        coil_lines=coil_lines(analysis.repetitions, words),
        typical_lines=typical_lines(typical, words) if typical else [],
        typical_table=typical_table(typical, words) if typical else None,
        tables=[
            _table(repetition, number, words)
            for number, repetition in enumerate(analysis.repetitions, start=1)
            if repetition.metrics
        ],
        plan=plan_words(plan, words) if plan else None,
        warnings=warnings(analysis, words),
        film_lines=[_facts(analysis, words), *_film(analysis, words)],
    )


def card(statement: Statement, words: Words) -> Card:
    """Return a statement as a card, with a strip plot where it has a range."""
    number, band, plot = statement.number, statement.band, None
    if number is not None and band is not None:
        metric = number.metric
        ends = [end for end in (band.low, band.high) if end is not None]
        band_text = _band_text(band, metric, words)
        plot = strip(
            words(
                "finding.strip_alt",
                value=words.value(number.value, metric),
                interval=words.interval(number.low, number.high, metric),
                band=band_text,
            ),
            number.value,
            number.low,
            number.high,
            (band.low, band.high),
            [(end, words.value(end, metric)) for end in ends],
        )
    return Card(statement.headline, statement.details, statement.tone, plot, statement.more)


def _band_text(band: Band, metric: Measured, words: Words) -> str:
    low, high = (None if end is None else words.value(end, metric) for end in (band.low, band.high))
    if high is None:
        return words("finding.strip_least", low=low)
    if low is None:
        return words("finding.strip_most", high=high)
    return words("finding.strip_range", low=low, high=high)


def warnings(analysis: Analysis, words: Words) -> list[str]:
    """Return what limits the film, each said once."""
    lines = [words.note(check.detail) for check in analysis.usability.checks if not check.passed]
    lines += [words.note(p.note) for p in analysis.problems if p.severity is not Severity.NOTE]
    return list(dict.fromkeys(lines))


def picture_alt(repetition: Repetition, number: int, instant: ShownInstant, words: Words) -> str:
    """Return the text that stands for a picture: what is drawn, and the numbers."""
    numbers = [
        words(
            "picture.alt_number",
            title=words.title(m),
            value=words.value(m.value, m),
            interval=words.interval(m.low, m.high, m),
        )
        for m in metrics_at(repetition, instant.events)
        if m.value is not None and m.low is not None and m.high is not None
    ]
    return words(
        "picture.alt",
        heading=heading(repetition, number, instant.events, words),
        numbers=" ".join(numbers),
    ).strip()


def _pictures(
    analysis: Analysis, pictures: Mapping[str, bytes], words: Words
) -> tuple[list[PagePicture], list[PagePicture]]:
    """Return the pictures of the most typical repetition, if there is one, and all others."""
    first: list[PagePicture] = []
    others: list[PagePicture] = []
    typical = analysis.typical
    for number, repetition in enumerate(analysis.repetitions, start=1):
        for instant in instants_of(repetition):
            name = picture_name(repetition, number, instant.events[0])
            if name in pictures:
                caption = words(
                    "page.picture_caption",
                    event=heading(repetition, number, instant.events, words),
                    about=words(f"event_about.{instant.events[0].value}"),
                )
                alt = picture_alt(repetition, number, instant, words)
                shown = typical is None or typical.most_typical == number
                kept = first if shown else others
                kept.append(page_picture(pictures[name], alt, caption))
    return (first, others) if first else (others, [])


def _first(
    analysis: Analysis,
    pictures: Mapping[str, bytes],
    plan: PracticePlan | None,
    cards: Sequence[Card],
    words: Words,
) -> FirstScreen:
    sentence = cards[0].headline.rstrip(" .") + "."
    if not analysis.repetitions:
        return FirstScreen(words("page.none_found"), (words("page.none_found_advice"),))
    doing = next_lines(plan, words) if plan else (_next(analysis, cards, words),)
    return FirstScreen(sentence, doing, _pair(analysis, pictures, plan, words))


def _next(analysis: Analysis, cards: Sequence[Card], words: Words) -> str:
    """Return what to do after an analysis without a plan: nothing only where all is fine."""
    first = cards[0]
    if not analysis.usability.usable:
        return words("page.next_film", reason=(warnings(analysis, words) or [first.details[0]])[0])
    open_still = first.tone == "fine" and any(card.tone != "fine" for card in cards)
    return words(f"page.next_{'look' if open_still else first.tone}")


def _pair(
    analysis: Analysis, pictures: Mapping[str, bytes], plan: PracticePlan | None, words: Words
) -> tuple[PagePicture, ...]:
    """Return the instant that the plan's focus or the rules are about, and contact."""
    number = 1 if analysis.typical is None else analysis.typical.most_typical
    repetition = analysis.repetitions[number - 1]
    focus = None if plan is None or plan.focus is None else plan.focus.finding.event
    instants = instants_of(repetition)
    wanted = [
        next((one for one in instants if event in one.events), None)
        for event in (focus or EventName.LOADING, EventName.CONTACT)
    ]
    if wanted[0] is wanted[1]:  # the focus is contact itself
        wanted[0] = next((one for one in instants if EventName.LOADING in one.events), None)
    found = []
    for instant in dict.fromkeys(one for one in wanted if one is not None):
        event = instant.events[0]
        for plain in (True, False):
            name = picture_name(repetition, number, event, plain=plain)
            if name in pictures:
                alt = picture_alt(repetition, number, instant, words)
                found.append(page_picture(pictures[name], alt, named(instant.events, words)))
                break
    return tuple(found)


def _title(analysis: Analysis, words: Words) -> str:
    kinds = {repetition.kind for repetition in analysis.repetitions}
    practice = kinds and RepetitionKind.SERVE not in kinds
    return words("page.practice_title" if practice else "page.analysis_title")


def _facts(analysis: Analysis, words: Words) -> str:
    if analysis.clip.width == 0:  # joints from elsewhere: nobody filmed
        return words(
            "page.facts_of_joints",
            count=repetitions(len(analysis.repetitions), words),
            rate=words.number(analysis.clip.frame_rate, 0),
            hand=hand(analysis.handedness, words),
        )
    return words(
        "page.facts",
        count=repetitions(len(analysis.repetitions), words),
        view=views([analysis.view.label], words),
        rate=words.number(analysis.clip.frame_rate, 0),
        hand=hand(analysis.handedness, words),
    )


def _film(analysis: Analysis, words: Words) -> list[str]:
    scale = analysis.scale
    if scale.metres_per_body_height is None:
        lines = [words("page.scale_none")]
    else:
        height = words.metres(scale.metres_per_body_height)
        lines = [
            words("page.scale", height=height, source=words(f"source.{scale.source}")),
        ]
    lines.append(
        words(
            "page.models",
            models=", ".join(m.name for m in analysis.models if m.role == "network") or "–",
            version=analysis.engine_version,
        )
    )
    return lines


def _table(repetition: Repetition, number: int, words: Words) -> Table:
    measured = [metric for metric in repetition.metrics if metric.measurable]
    methods = {metric.method for metric in measured}
    # One method for all is said once, above the table.
    common = methods.pop() if len(methods) == 1 else None
    names = ["what", "value", "interval", "reference"] + ([] if common else ["method"])
    columns = tuple(words(f"page.column_{name}") for name in names)
    shown = row_groups(
        [(metric.event, metric) for metric in measured],
        lambda metric: _row(metric, columns, words),
        words,
    )
    missing = missing_rows([m for m in repetition.metrics if not m.measurable], columns, words)
    return Table(
        caption=words(
            "page.repetition", kind=words(f"kind.{repetition.kind.value}"), number=number
        ),
        note=words("page.method_all", method=words.method(common)) if common else "",
        columns=columns,
        groups=(*shown, *missing),
    )


def _row(metric: Metric, columns: tuple[str, ...], words: Words) -> TableRow:
    value, low, high = (
        number if number is not None else float("nan")
        for number in (metric.value, metric.low, metric.high)
    )
    cells = [
        Cell(columns[1], words.value(value, metric), "value"),
        Cell(columns[2], words.interval(low, high, metric)),
        Cell(columns[3], words.sentence(metric.reference), "small")
        if metric.reference
        else Cell(columns[3], words("page.no_reference"), "none"),
    ]
    if len(columns) > 4:
        cells.append(Cell(columns[4], words.method(metric.method), "small"))
    return TableRow(words.title(metric), words.about(metric), tuple(cells))
