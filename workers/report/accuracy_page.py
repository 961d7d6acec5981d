"""The accuracy report: a Markdown page for a repository browser, with its picture beside it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from models.contract.accuracy import Accuracy, EventAccuracy, MetricAccuracy, ViewAccuracy
from models.contract.frame_rate import USUAL_RATE_FPS
from models.contract.vocabulary import View
from models.words import THIN, english
from workers.report.accuracy_advice import PLACES, how_to_read, limits, trust
from workers.report.accuracy_aims import (
    OTHER_VIEWS,
    aim,
    aimed,
    amount,
    label,
    met,
    rows_by_place,
    written,
)


def accuracy_page(document: Accuracy, picture: str) -> str:
    """Return the page; ``picture`` is the address of the picture, relative to it."""
    parts = [
        "# How far to trust each number",
        _opening(document),
        "## At a glance",
        _glance(document),
        f"![{_described(document)}]({picture})",
        "## How to read it",
        how_to_read(document),
        "## From each camera position",
        *(trust(document, view) for view in document.views_seen()),
        "## Limits",
        limits(document),
        "## Serves found, hand, camera position",
        "Aims: the count right in 95 % of films, the hand in all, the position in 90 %.",
        _whole_clips(document.views),
        "## Times of the events",
        "Aim, from the side at 60 frames per second or more: contact within 1 frame in 95 % of "
        "serves.",
        _events(document.events),
        "## Every metric",
        *_every_metric(document),
        "## How this page was made",
        _made(document),
    ]
    return "\n\n".join(parts) + "\n"


def table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """Return a Markdown table; every column but the first is set to the right."""
    lines = [_line(head), _line(["---", *("---:" for _ in head[1:])])]
    return "\n".join([*lines, *(_line(row) for row in rows)])


def _line(cells: Sequence[str]) -> str:
    return "| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |"


def _opening(document: Accuracy) -> str:
    everything = _all_clips(document.views)
    rows = [
        (row, view)
        for view in document.views_seen()
        for row in document.metrics
        if row.view == view.value and met(row, view) is not None
    ]
    kept = sum(bool(met(row, view)) for row, view in rows)
    text = (
        f"{everything.clips} films with {everything.serves} serves, whose every joint and instant "
        "is known exactly, were measured like any other film. This page says how far the values "
        "were off, from each camera position."
    )
    if rows:
        text += (
            f" Of {len(rows)} pairs of metric and camera position that have an aim and were "
            f"reported, {kept} keep it."
        )
    return text


def _glance(document: Accuracy) -> str:
    views, places = document.views_seen(), rows_by_place(document)
    head = ["metric", "aim: side (others)", "blind guess", *(_code(view.value) for view in views)]
    body = []
    for name in aimed(document):
        first = next(row for row in document.metrics if row.name == name)
        side, other = aim(first.key, View.SIDE), aim(first.key, View.BEHIND)
        everywhere = places.get((name, "all"), first)
        cells = [_glanced(places.get((name, view.value)), view) for view in views]
        bounds = f"{amount(first, side)} ({amount(first, other)})"
        body.append([label(first), bounds, amount(first, everywhere.guess_mae), *cells])
    note = (
        "Mean absolute error; **bold** = within the aim; – = not reported from there (the result "
        f"says why). The aims are the project's own, {OTHER_VIEWS:g} times wider where the camera "
        "is not at the side. Blind guess: the error of always answering the mean true value of "
        "these films; a measurement that is no better than that tells nothing about one player."
    )
    return table(head, body) + "\n\n" + note + _slow_films(document)


def _slow_films(document: Accuracy) -> str:
    rates = document.clip_set.frame_rates
    slow = sum(count for fps, count in rates.items() if float(fps) < USUAL_RATE_FPS)
    if not slow:
        return ""
    have = "has" if slow == 1 else "have"
    return (
        f" The aims are meant for {USUAL_RATE_FPS:g} frames per second or more; {slow} of these "
        f"{sum(rates.values())} films {have} fewer."
    )


def _glanced(row: MetricAccuracy | None, view: View) -> str:
    if row is None or row.mae is None:
        return "–"
    text = amount(row, row.mae)
    if met(row, view):
        text = f"**{text}**"
    return text if row.measured == row.count else f"{text} ({row.measured} of {row.count})"


def _whole_clips(rows: Sequence[ViewAccuracy]) -> str:
    head = ["camera position", "films", "serves", "count right", "kind of work right"]
    head += ["hand right", "position right", "azimuth off by"]
    return table(
        head,
        [
            [
                _code(row.view),
                str(row.clips),
                str(row.serves),
                _percent(row.count_exact),
                _percent(row.kinds_exact),
                _percent(row.handedness_exact),
                _percent(row.view_class),
                "–" if row.azimuth_mae_deg is None else written("", "deg", row.azimuth_mae_deg),
            ]
            for row in rows
        ],
    )


def _events(rows: Sequence[EventAccuracy]) -> str:
    head = ["event", "camera position", "repetitions", "found", "bias", "mean absolute error"]
    head += ["95 of 100 within", "in frames", "within 1 frame"]
    return table(
        head,
        [
            [
                english().event(row.event),
                _code(row.view),
                str(row.count),
                _percent(row.found),
                _ms(row.bias_ms, signed=True),
                _ms(row.mae_ms),
                _ms(row.p95_ms),
                "–" if row.mae_frames is None else f"{row.mae_frames:.2f}",
                _percent(row.within_one_frame),
            ]
            for row in rows
        ],
    )


def _every_metric(document: Accuracy) -> list[str]:
    head = ["metric", "given", "bias", "mean absolute error", "95 of 100 within"]
    head += ["blind guess", "interval holds the truth"]
    parts = []
    for place in (*(view.value for view in document.views_seen()), "all"):
        rows = [row for row in document.metrics if row.view == place]
        if not rows:
            continue
        body = [
            [
                f"{label(row)} ({_code(row.name)})",
                f"{row.measured} of {row.count}",
                amount(row, row.bias, signed=True),
                amount(row, row.mae),
                amount(row, row.p95),
                amount(row, row.guess_mae),
                "–" if row.covered is None else f"{row.covered} of {row.measured}",
            ]
            for row in rows
        ]
        where = "every position together" if place == "all" else PLACES[View(place)]
        # Folded, so that the page stays short in a repository browser.
        parts.append(f"<details><summary><b>{place}</b>: {where}</summary>")
        parts.append(table(head, body))
        parts.append("</details>")
    return parts


def _made(document: Accuracy) -> str:
    clips = document.clip_set
    rates = ", ".join(f"{count} at {fps}" for fps, count in clips.frame_rates.items())
    heights = "given" if clips.heights_given else "not given"
    lines = [
        f"- Films: {clips.about}",
        f"- Frames per second: {rates}; standing height {heights} with each film",
        f"- Engine {document.engine_version}"
        + (
            ""
            if document.engine_s_per_serve is None
            else f", {document.engine_s_per_serve:.2f} s per serve after the pose "
            "networks, by the clock of this run"
        ),
        *(f"- Network `{model.name}`, SHA-256 `{model.sha256}`" for model in document.models),
    ]
    if clips.failed:
        lost = ", ".join(f"{film} (`{code}`)" for film, code in clips.failed.items())
        lines.append(f"- Not analysed, and in no table: {lost}")
    return f"```sh\n{clips.command}\n```\n\n" + "\n".join(lines)


def _all_clips(rows: Sequence[ViewAccuracy]) -> ViewAccuracy:
    return next(row for row in rows if row.view == "all")


def _described(document: Accuracy) -> str:
    where = ", ".join(view.value.replace("_", " ") for view in document.views_seen())
    return f"Bias and mean absolute error per metric against the aim, seen from: {where}"


def _code(text: str) -> str:
    return f"`{text}`"


def _percent(share: float | None) -> str:
    return "–" if share is None else f"{100 * share:.0f}{THIN}%"


def _ms(value: float | None, *, signed: bool = False) -> str:
    return "–" if value is None else written("", "ms", value, signed=signed)
