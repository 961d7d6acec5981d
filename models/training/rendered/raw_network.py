"""Does the engine beat the pose network's own 3D? Mean absolute errors of both, metric by view.

``python -m models.training.rendered.raw_network FILMS --cache TRACKS`` (tracks of ``servewright
accuracy``). Events are the engine's for both, so that postures are compared and not instants. The
network's own values are as they come: neither its biases are taken out nor is anything withheld;
the engine's are what it reports.
"""

from __future__ import annotations

import argparse
from collections import defaultdict
from pathlib import Path
from unittest.mock import patch

import numpy as np

from models.contract.metrics.catalogue import CATALOGUE
from models.contract.tracks import JointTrack
from models.contract.vocabulary import Handedness
from workers.cli.accuracy import capture_fps, find_pairs, joint_track, read_document
from workers.engine import engine
from workers.engine.accuracy import clip_errors
from workers.engine.detect import FoundWork
from workers.engine.film_bodies import FilmBody, film_bodies, plain_estimate
from workers.engine.interface import EngineRequest
from workers.engine.learned import Learned
from workers.engine.network_body import network_body
from workers.engine.truth import ClipTruth, read_truth
from workers.learned import load

Errors = dict[tuple[str, str], float]


def raw_bodies(
    track: JointTrack,
    found: list[FoundWork],
    hand: Handedness,
    request: EngineRequest,
    learned: Learned,
) -> list[FilmBody | None]:
    """The network's own 3D of each repetition, with the azimuth the engine found."""
    bodies: list[FilmBody | None] = []
    all_fitted = film_bodies(track, found, hand, request, learned)
    for candidate, fitted in zip(found, all_fitted, strict=True):
        plain = network_body(
            track,
            (candidate.start, candidate.stop),
            handedness=hand,
            stature_m=request.stature_m or 1.75,
            azimuth_deg=None if fitted is None else fitted.azimuth[0],
        )
        if plain is None or fitted is None:
            bodies.append(None)
            continue
        bodies.append(FilmBody((plain_estimate(plain.motion),), fitted.azimuth, fitted.learned))
    return bodies


def errors(track: JointTrack, truth: ClipTruth, calibrated: bool) -> Errors:
    """Error of every value that has an aim, by name and true view."""
    request = EngineRequest(
        stature_m=truth.stature_m, capture_fps=capture_fps(truth), calibrated=calibrated
    )
    found = engine.analyse(track, request, load().learned)
    compared = clip_errors(
        truth, found.repetitions, found.view.label, found.view.azimuth_deg, found.handedness
    )
    return {
        (m.name, m.view.value): m.error
        for m in compared.metrics
        if m.error is not None
        and (known := CATALOGUE.named(m.name)) is not None
        and known.aim is not None
    }


def main() -> None:
    """Command line of this module."""
    parser = argparse.ArgumentParser(
        prog="python -m models.training.rendered.raw_network", description=__doc__
    )
    parser.add_argument("folder", type=Path)
    parser.add_argument("--cache", type=Path, required=True)
    options = parser.parse_args()
    pairs: dict[tuple[str, str], list[tuple[float, float]]] = defaultdict(list)
    for film, truth_file in find_pairs(options.folder):
        truth = read_truth(read_document(truth_file), film.stem)
        track = joint_track(film, truth, options.cache)
        ours = errors(track, truth, calibrated=True)
        with patch.object(engine, "film_bodies", raw_bodies):
            raw = errors(track, truth, calibrated=False)
        for slot in ours.keys() & raw.keys():
            pairs[slot].append((raw[slot], ours[slot]))
    better = 0
    print(
        "| metric | view | films | network's own 3D | engine |\n| --- | --- | ---: | ---: | ---: |"
    )
    for (name, view), rows in sorted(pairs.items()):
        raw_mae, our_mae = np.abs(np.array(rows)).mean(axis=0)
        better += bool(our_mae < raw_mae)
        print(f"| `{name}` | {view} | {len(rows)} | {raw_mae:.3g} | {our_mae:.3g} |")
    print(f"\nThe engine is nearer in {better} of {len(pairs)} pairs of metric and view.")


if __name__ == "__main__":
    main()
