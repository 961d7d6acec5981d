"""Films gone wrong: ``python -m models.training wild FILMS --out WILD``.

Every fault is put into every film; the table says how often the right finding came, and how many
events were given that the film does not show.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from models.contract.vocabulary import Handedness
from workers.cli.accuracy import find_pairs, read_document
from workers.engine.interface import EngineRequest
from workers.engine.truth import read_truth

from .faults import FAULTS, Fault
from .rewrite import read, write


def said_of(film: Path, stated: Handedness = Handedness.UNKNOWN) -> dict[str, Any]:
    """Return what the whole product says of a film: findings, and events of each repetition.

    ``stated``: the hand that hits, where the caller states it.
    """
    from service.core.settings import Settings
    from workers.jobs.configured import shared_stages
    from workers.pipeline import run as pipeline

    request = EngineRequest(handedness=stated)
    settings = Settings().model_copy(update={"pictures": False})
    analysis = pipeline.run(film, request, shared_stages(settings)).analysis
    checks = [check.key for check in analysis.usability.checks if not check.passed]
    return {
        "findings": sorted({*(problem.code for problem in analysis.problems), *checks}),
        "events": [[event.value for event in one.events] for one in analysis.repetitions],
    }


def judged(fault: Fault, said: dict[str, Any]) -> tuple[bool, list[str]]:
    """Return whether a fault was told, and which events were invented."""
    invented = sorted({name for events in said["events"] for name in events} & fault.gone)
    told = bool(fault.told_by & set(said["findings"])) if fault.told_by else not invented
    return told, invented


def table(rows: Sequence[tuple[Fault, bool, list[str]]]) -> str:
    """Return a Markdown table, a fault a line."""
    lines = ["| fault | films | told | events invented |", "| --- | --- | --- | --- |"]
    for fault in FAULTS:
        part = [row for row in rows if row[0] is fault]
        if part:
            told, invented = sum(row[1] for row in part), sum(len(row[2]) for row in part)
            lines.append(f"| {fault.name} | {len(part)} | {told} | {invented} |")
    told, invented = sum(row[1] for row in rows), sum(len(row[2]) for row in rows)
    return "\n".join([*lines, f"| all | {len(rows)} | {told} | {invented} |"])


def main(arguments: Sequence[str] | None = None) -> int:
    """Command line; films and findings that are there already are used again."""
    parser = argparse.ArgumentParser(prog="python -m models.training wild")
    parser.add_argument("films", type=Path)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--count", type=int, default=6, help="how many films")
    options = parser.parse_args(arguments)
    options.out.mkdir(parents=True, exist_ok=True)
    rows = []
    for film, truth_file in find_pairs(options.films)[: options.count]:
        truth = read_truth(read_document(truth_file), film.stem)
        if not truth.serves:
            continue
        events = {event.value: when for event, when in truth.serves[0].events.items()}
        for number, fault in enumerate(FAULTS):
            made = options.out / f"{film.stem}-{number}.mp4"
            told_in = made.with_suffix(".said.json")
            if not told_in.exists():
                write(made, *fault.change(*read(film), events), fault.crf)
                hand = truth.handedness if fault.stated else Handedness.UNKNOWN
                told_in.write_text(json.dumps(said_of(made, hand)), "utf-8")
            rows.append((fault, *judged(fault, json.loads(told_in.read_text("utf-8")))))
            if not rows[-1][1] or rows[-1][2]:
                print(made, fault.name, told_in.read_text("utf-8"), file=sys.stderr)
    print(table(rows))
    return 0


if __name__ == "__main__":
    sys.exit(main())
