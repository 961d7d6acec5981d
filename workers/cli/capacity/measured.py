"""What the model is fed with: samples of the bench's JSON document, and what was not measured."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import typer

from workers.cli.bench.report import FORMAT

RECEIVER_S = 0.15
"""Time a receiver of webhooks takes to answer, seconds: not ours to measure (working value)."""
FILES_A_RESULT = 12
"""Result files of an analysis of one serve."""


@dataclass(frozen=True, slots=True)
class LoadCosts:
    """Samples, seconds.

    Attributes
    ----------
    analysis_s : tuple of float
        Processor time of an analysis: a worker with a core of its own takes that long.
    upload_s, status_s : tuple of float
        Of the idle API, one request at a time.
    transaction_s : tuple of float
        One change of state of a piece of work in the database.
    round_row_s : float
        What one unfinished analysis costs a round of the reconciler.
    store_s : tuple of float
        Writing one result file to the object store.
    machine : str
        Where it was measured.
    """

    analysis_s: tuple[float, ...]
    upload_s: tuple[float, ...]
    status_s: tuple[float, ...]
    transaction_s: tuple[float, ...]
    round_row_s: float
    store_s: tuple[float, ...]
    machine: str


def read(file: Path) -> LoadCosts:
    """Read a document of ``servewright bench`` that holds the parts ``films`` and ``api``."""
    document: dict[str, Any] = json.loads(file.read_text(encoding="utf-8"))
    if document.get("format") != FORMAT:
        raise typer.BadParameter(f"{file} is not a document of servewright bench.")
    try:
        films, api = (document["parts"][name] for name in ("films", "api"))
        samples = api["samples"]
        return LoadCosts(
            analysis_s=tuple(films["samples"]["cpu_s"]),
            upload_s=tuple(samples["idle_upload_s"]),
            status_s=tuple(samples["idle_status_s"]),
            transaction_s=tuple(samples["transaction_s"]),
            round_row_s=float(samples["round_row_s"][0]),
            store_s=tuple(samples["store_s"]),
            machine=str(films["machine"]["processor"]),
        )
    except (KeyError, IndexError) as error:
        raise typer.BadParameter(
            f"{file} lacks {error}: run `servewright bench films` and `servewright bench api` "
            "with --json on it first."
        ) from error
