"""What the product finds in a film; decoding and networks run once, the engine every time."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from models.contract.tracks import JointTrack
from workers.cli.accuracy import find_pairs, joint_track, read_document
from workers.engine.interface import EngineRequest, EngineResult
from workers.engine.truth import ClipTruth, read_truth
from workers.learned import load


@dataclass(frozen=True)
class Analysed:
    """A film, its truth, and what the product says of it.

    Attributes
    ----------
    document : dict
        The truth document.
    truth : ClipTruth
    track : JointTrack
        As the whole pipeline gave it, with sightings and sounds.
    result : EngineResult
    """

    document: dict[str, Any]
    truth: ClipTruth
    track: JointTrack
    result: EngineResult


def analysed(folder: Path, cache: Path) -> Iterator[Analysed]:
    """Analyse the films of a folder as ``servewright analyse`` does, with nothing stated of them.

    Parameters
    ----------
    folder : Path
        NNN.mp4 with NNN.json beside each.
    cache : Path
        Joint tracks; a film that is not among them is decoded and seen by the networks.
    """
    engine = load()
    for film, truth_file in find_pairs(folder):
        document = read_document(truth_file)
        truth = read_truth(document, film.stem)
        track = joint_track(film, truth, cache)
        yield Analysed(document, truth, track, engine.analyse(track, EngineRequest()))
