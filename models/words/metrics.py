"""The words of the metrics, from their definitions, as entries of the catalogue."""

from __future__ import annotations

from typing import Any

from models.contract.metrics.catalogue import CATALOGUE
from models.contract.metrics.definition import MetricDefinition, StandingWords


def metric_entries(language: str) -> dict[str, Any]:
    """Return the entries ``metric.KEY`` and ``finding.KEY.EVENT`` of one language.

    Raises
    ------
    KeyError
        A metric has no words in that language.
    """
    metrics: dict[str, Any] = {}
    findings: dict[str, Any] = {}
    for metric in CATALOGUE:
        words = metric.wording[language]
        metrics[metric.key] = {
            "term": words.term,
            "title": words.title,
            **_optional(metric, words.about),
        }
        for event, standing in words.standing.items():
            findings.setdefault(metric.key, {})[event.value] = _standing(standing)
    return {"metric": metrics, "finding": findings}


def _optional(metric: MetricDefinition, about: str) -> dict[str, Any]:
    found: dict[str, Any] = {"about": about} if about else {}
    return found | {"percent": True} if metric.percent else found


def _standing(words: StandingWords) -> dict[str, str]:
    said = {"inside": words.inside, "below": words.below, "above": words.above}
    return {"source": words.source} | {name: text for name, text in said.items() if text}
