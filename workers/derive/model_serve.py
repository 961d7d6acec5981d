"""The model serve that is shipped: one rendered body, its film and the joints found in it.

It is measured anew by the present engine, so that it is held against players' serves on equal
terms.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import models
from models.contract.analysis import Analysis
from models.contract.tracks import JointTrack
from models.contract.vocabulary import Handedness
from workers.derive.source import Source
from workers.engine.interface import EngineRequest
from workers.learned import load
from workers.pipeline.again import run_again

FOLDER = Path(models.__file__).resolve().parent / "examples" / "serve"
NAME = "model serve"
"""What it is called where analyses are named by their ids."""


@cache
def model_serve(seed: int) -> Source:
    """Return the shipped model serve; its joints are measured once a process.

    Parameters
    ----------
    seed : int
        Of the engine, as for other analyses.
    """
    earlier = Analysis.model_validate_json((FOLDER / "result.json").read_bytes())
    track = JointTrack.from_npz((FOLDER / "joints.npz").read_bytes())
    request = EngineRequest(
        handedness=Handedness.RIGHT,
        stature_m=earlier.scale.metres_per_body_height,
        seed=seed,
    )
    found = run_again(earlier, track, request, load())
    film = FOLDER / "film.mp4"
    return Source(NAME, found.analysis, lambda: (track, found.bodies), lambda: film, dict)
