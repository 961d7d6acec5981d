"""The quiet panel under a picture: what the marks are, and the numbers with their intervals."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from PIL import Image

from models.contract.analysis import Metric
from models.contract.metrics.catalogue import CATALOGUE
from models.words import Words
from workers.report.canvas import Layer, text_width, wrapped
from workers.report.marks import swatch
from workers.report.palette import INK, MUTED, PAPER, RULE

COLUMNS = 2
"""Columns of values under a picture."""


@dataclass(frozen=True, slots=True)
class Entry:
    """One cell of the panel."""

    mark: str | None
    title: str
    value: str | None
    note: str


def entries(metrics: Sequence[Metric], words: Words) -> list[Entry]:
    """Return the cells of these metrics; those without a value say why."""
    cells = []
    for metric in metrics:
        mark = CATALOGUE.drawn(metric.key).mark
        if metric.value is None or metric.low is None or metric.high is None:
            note = words("picture.because", reason=words.note(metric.reason))
            cells.append(Entry(mark, words.title(metric), None, note))
        else:
            interval = words.interval(metric.low, metric.high, metric)
            cells.append(
                Entry(
                    mark,
                    words.title(metric),
                    words.value(metric.value, metric),
                    words("picture.interval", interval=interval),
                )
            )
    return cells


def under(
    picture: Image.Image,
    heading: str,
    subheading: str,
    legend: Sequence[tuple[str, str]],
    cells: Sequence[Entry],
    notes: Sequence[str],
) -> Image.Image:
    """Return the picture with a heading above and the panel below.

    ``legend`` names the marks drawn, as pairs of mark and words.
    """
    width = picture.width
    base = max(width // 32, 14)
    edge = base
    column = (width - edge * (COLUMNS + 1)) / COLUMNS
    blocks = [_block(cell, base, column) for cell in cells]
    rows = [blocks[i : i + COLUMNS] for i in range(0, len(blocks), COLUMNS)]
    heights = [max(len(block) for block in row) for row in rows]
    line = round(base * 1.34)
    note_lines = [
        piece for note in notes for piece in wrapped(note, base * 4 // 5, width - 2 * edge)
    ]
    top = round(base * 2.9)
    row_gap = round(base * 1.1)
    panel = sum(h * line + row_gap for h in heights) + len(note_lines) * round(base * 1.15)
    keys = _flow(legend, base, width - 2 * edge)
    key_line = round(base * 1.2)
    panel += len(keys) * key_line + (row_gap if keys else 0)
    total = top + picture.height + round(base * 1.2) + panel + edge
    page = Image.new("RGB", (width, total), PAPER)
    page.paste(picture, (0, top))
    layer = Layer(width, total)
    # A long heading and what stands beside it share the line.
    size, small = round(base * 1.25), round(base * 0.85)
    room = width - 2 * edge - base - text_width(subheading, small)
    while size > small and text_width(heading, size, bold=True) > room:
        size -= 1
    layer.text((edge, base * 1.9), heading, size, INK, bold=True)
    layer.text((width - edge, base * 1.9), subheading, small, MUTED, anchor="rs")
    y = top + picture.height + round(base * 1.2)
    for key_row in keys:
        for x, mark, text in key_row:
            swatch(layer, mark, (edge + x, y + base * 0.55), base * 0.8)
            layer.text((edge + x + base * 1.9, y + base * 0.8), text, base * 4 // 5, MUTED)
        y += key_line
    if keys:
        y += row_gap
    for row, height in zip(rows, heights, strict=True):
        for i, block in enumerate(row):
            x = edge + i * (column + edge)
            for n, (kind, text) in enumerate(block):
                at = (x, y + (n + 0.75) * line)
                _write(layer, kind, text, at, base)
        y += height * line
        layer.box((edge, y + row_gap * 0.45, width - edge, y + row_gap * 0.45 + 1), RULE, 1)
        y += row_gap
    for text in note_lines:
        y += round(base * 1.15)
        layer.text((edge, y), text, base * 4 // 5, MUTED)
    return layer.over(page)


def _flow(
    legend: Sequence[tuple[str, str]], base: int, width: float
) -> list[list[tuple[float, str, str]]]:
    """Set the legend in lines: the place from the left, the mark and its words."""
    lines: list[list[tuple[float, str, str]]] = []
    x = width
    for mark, text in legend:
        wide = base * 3.1 + text_width(text, base * 4 // 5)
        if x + wide > width + base:
            lines.append([])
            x = 0.0
        lines[-1].append((x, mark, text))
        x += wide
    return lines


def _block(cell: Entry, base: int, column: float) -> list[tuple[str, str]]:
    """Break a cell into typed lines: what to draw, and the text."""
    swatch = f"mark:{cell.mark}" if cell.mark else "title"
    indent = base * 2.4 if cell.mark else 0
    titles = wrapped(cell.title, round(base * 0.95), column - indent)
    lines = [(swatch, titles[0])]
    lines += [("indent" if cell.mark else "title", text) for text in titles[1:]]
    if cell.value is not None:
        lines.append(("value+" if cell.mark else "value", f"{cell.value}\t{cell.note}"))
    else:
        kind = "note+" if cell.mark else "note"
        lines += [(kind, text) for text in wrapped(cell.note, base * 4 // 5, column - indent)]
    return lines


def _write(layer: Layer, kind: str, text: str, at: tuple[float, float], base: int) -> None:
    x, y = at
    plain = round(base * 0.95)
    if kind.startswith("mark:"):
        swatch(layer, kind.removeprefix("mark:"), (x, y - base * 0.32), base)
        layer.text((x + base * 2.4, y), text, plain, INK)
        return
    if kind == "indent" or kind.endswith("+"):
        x += base * 2.4
    if kind.startswith("value"):
        value, note = text.split("\t")
        y += base * 0.2
        layer.text((x, y), value, round(base * 1.3), INK, bold=True)
        right = text_width(value, round(base * 1.3), bold=True)
        layer.text((x + right + base * 0.8, y), note, base * 4 // 5, MUTED)
    elif kind.startswith("note"):
        layer.text((x, y), text, base * 4 // 5, MUTED)
    else:
        layer.text((x, y), text, plain, INK)
