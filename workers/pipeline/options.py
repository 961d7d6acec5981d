"""From what a caller asked for to what the engine is told."""

from __future__ import annotations

from models.contract.resources import AnalysisOptions
from workers.engine.interface import EngineRequest


def engine_request(options: AnalysisOptions, seed: int = 0) -> EngineRequest:
    """Return the engine's request for these options."""
    return EngineRequest(
        stature_m=options.height_m,
        handedness=options.handedness,
        view=options.view,
        azimuth_deg=options.azimuth_deg,
        sex=options.sex,
        capture_fps=options.capture_fps,
        drill=options.drill,
        seed=seed,
    )
