"""The catalogue of metrics as plain data: for pages, documents and tests."""

from __future__ import annotations

from dataclasses import dataclass

from workers.engine.calibration import views_within
from workers.engine.interface import ENGINE_VERSION
from workers.engine.metrics.registry import REGISTRY
from workers.engine.metrics.spec import MetricSpec

USUAL_FPS = 60.0


@dataclass(frozen=True, slots=True)
class CatalogueEntry:
    """One metric at one event, in words.

    Attributes
    ----------
    views : tuple of str
        Camera views from which it is reported at 60 frames per second or more, best first; empty
        where no view was ruled out.
    """

    key: str
    event: str | None
    title: str
    unit: str
    definition: str
    kinds: tuple[str, ...]
    needs: tuple[str, ...]
    min_fps: float
    reference: str | None
    views: tuple[str, ...]


def catalogue() -> tuple[CatalogueEntry, ...]:
    """Return every metric, in the order of the registry."""
    return tuple(_entry(spec) for spec in REGISTRY)


def version() -> str:
    """Return the version of the engine these metrics belong to."""
    return ENGINE_VERSION


def _entry(spec: MetricSpec) -> CatalogueEntry:
    tolerance = spec.metric.tolerance
    views = [] if tolerance is None else views_within(spec.name, tolerance, USUAL_FPS)
    return CatalogueEntry(
        key=spec.key,
        event=spec.event.value if spec.event else None,
        title=spec.title,
        unit=spec.unit,
        definition=spec.definition,
        kinds=tuple(sorted(kind.value for kind in spec.kinds)),
        needs=tuple(sorted(need.value for need in spec.needs)),
        min_fps=spec.metric.min_fps,
        reference=spec.taken.reference,
        views=tuple(view.value for view in views),
    )
