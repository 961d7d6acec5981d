"""Every metric, found in the modules of this package."""

from __future__ import annotations

import importlib
import pkgutil

import workers.engine.metrics as package
from models.contract.vocabulary import RepetitionKind
from workers.engine.metrics.spec import MetricSpec

_PLAIN = frozenset({"registry", "spec"})


def _collect() -> tuple[MetricSpec, ...]:
    found: list[MetricSpec] = []
    for module in pkgutil.iter_modules(package.__path__):
        if module.name in _PLAIN:
            continue
        members = vars(importlib.import_module(f"{package.__name__}.{module.name}"))
        found.extend(members.get("METRICS", ()))
    names = [spec.name for spec in found]
    repeated = {name for name in names if names.count(name) > 1}
    if repeated:
        raise ValueError(f"metrics defined twice: {sorted(repeated)}")
    return tuple(found)


REGISTRY: tuple[MetricSpec, ...] = _collect()


def metrics_for(kind: RepetitionKind) -> tuple[MetricSpec, ...]:
    """Return the metrics that apply to a kind of work."""
    return tuple(spec for spec in REGISTRY if kind in spec.kinds)
