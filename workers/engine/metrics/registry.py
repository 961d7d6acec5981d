"""Every metric: what the contract defines, bound to the formulas of this package."""

from __future__ import annotations

import importlib
import pkgutil

import workers.engine.metrics as package
from models.contract.metrics.catalogue import CATALOGUE, Catalogue
from models.contract.metrics.definition import MetricDefinition, Taken
from models.contract.vocabulary import RepetitionKind
from workers.engine.metrics.spec import AtEvent, Formula, Formulas, MetricSpec

_NO_FAMILY = frozenset({"registry", "spec"})


def bind(catalogue: Catalogue, formulas: Formulas) -> tuple[MetricSpec, ...]:
    """Return every metric at every instant, with its formula.

    Raises
    ------
    ValueError
        A metric has no formula, or a formula no metric; a formula does not say for which event.
    """
    lost = set(catalogue.keys).symmetric_difference(formulas)
    if lost:
        raise ValueError(f"only one of definition and formula is there for {sorted(lost)}")
    return tuple(
        MetricSpec(one, taken, _formula(one, taken, formulas[one.key]))
        for one, taken in catalogue.instants()
    )


def _formula(one: MetricDefinition, taken: Taken, formula: Formula | AtEvent) -> Formula:
    if not isinstance(formula, AtEvent):
        if len(one.taken) > 1:
            raise ValueError(f"the formula of {one.key} must be one for each event")
        return formula
    if taken.event is None:
        raise ValueError(f"{one.key} is taken at no event, its formula is for one")
    return formula.at(taken.event)


def _collect() -> dict[str, Formula | AtEvent]:
    found: dict[str, Formula | AtEvent] = {}
    for module in pkgutil.iter_modules(package.__path__):
        if module.name in _NO_FAMILY:
            continue
        members = vars(importlib.import_module(f"{package.__name__}.{module.name}"))
        more: Formulas = members["FORMULAS"]
        twice = sorted(found.keys() & more)
        if twice:
            raise ValueError(f"formulas registered twice: {twice}")
        found |= more
    return found


REGISTRY: tuple[MetricSpec, ...] = bind(CATALOGUE, _collect())


def metrics_for(kind: RepetitionKind) -> tuple[MetricSpec, ...]:
    """Return the metrics that apply to a kind of work."""
    return tuple(spec for spec in REGISTRY if kind in spec.kinds)
