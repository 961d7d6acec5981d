"""The engine on packed films, many at a time: errors of every value, for calibration and report.

``python -m models.training measure FILMS ... --processes 2 --out ERRORS`` measures packed films
(``python -m models.training bulk``) by every method with nothing corrected; ``--as-reported``
measures them as the service would. ERRORS is a folder: one file a film, so that an interrupted run
goes on. True values are the metrics' own formulas on the true joints at the true events.
"""

from __future__ import annotations

import argparse
import pickle
import sys
import time
import zlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from models.contract.errors import ServewrightError
from models.contract.tracks import BodyMotion
from models.contract.vocabulary import EventName, Handedness, RepetitionKind
from workers.engine.accuracy import ClipErrors, clip_errors
from workers.engine.interface import EngineRequest
from workers.engine.metrics.registry import metrics_for
from workers.engine.readings import floor_height
from workers.engine.samples import Samples
from workers.engine.truth import ClipTruth, TrueRepetition
from workers.engine.view import view_of
from workers.learned import load

from .packed_films import PackedFilm, packed, packs_of


@dataclass(frozen=True)
class Measured:
    """One film's comparison and the engine's seconds."""

    errors: ClipErrors
    seconds: float


def true_repetition(film: PackedFilm) -> TrueRepetition:
    """Return events and the true value of every metric that applies to the film's work."""
    return TrueRepetition(
        film.kind, dict(film.events), values_of(film.motion, film.kind, film.events)
    )


def values_of(
    motion: BodyMotion, kind: RepetitionKind, when: Mapping[EventName, float]
) -> dict[str, float]:
    """Return the true value of every metric of a kind of work, by its name."""
    body = true_sample(motion, when)
    metrics: dict[str, float] = {}
    with np.errstate(all="ignore"):
        for spec in metrics_for(kind):
            if set(spec.events) <= set(when):
                value = float(spec.compute(body)[0])
                if np.isfinite(value):
                    metrics[spec.name] = value
    return metrics


def true_sample(motion: BodyMotion, when: Mapping[EventName, float]) -> Samples:
    """Return a true motion with its true events as the one sample that formulas take."""
    return Samples(
        time_s=motion.time_s,
        joints=motion.joints[None],
        events={event: np.array([time_s]) for event, time_s in when.items()},
        stature_m=np.array([motion.stature_m]),
        floor_z=floor_height(motion),
    )


def drawn_values(use: str, seed: int, index: int) -> dict[str, float]:
    """Return the true value of every metric of one drawn movement; nothing if it is no work."""
    from models.contract.skeleton import CANONICAL_BODY
    from models.training.rendered.movements.packed import FPS, joints_at_60, movement
    from models.training.rendered.movements.quick_truth import EVENTS, quick_events

    try:
        performance, _, kind = movement(use, seed, index)
    except RuntimeError:  # the generator found no posture without a collision
        return {}
    if kind not in {one.value for one in RepetitionKind} or kind == RepetitionKind.HOLD.value:
        return {}
    joints = joints_at_60(performance)
    origin = joints[:3, CANONICAL_BODY.pair("ankle")].mean(axis=(0, 1))
    names = {"start": EventName.SET_UP} | {event.value: event for event in EventName}
    times = zip(EVENTS, quick_events(performance), strict=True)
    events = {
        names[name]: float(when) for name, when in times if name in names and np.isfinite(when)
    }
    motion = BodyMotion(
        time_s=np.arange(len(joints)) / FPS,
        frame_index=np.arange(len(joints)),
        joints=joints - origin,
        sd=np.full(joints.shape, 0.001),
        mirrored=False,
        stature_m=performance.motion.skeleton.height,
        method="joints_in",
    )
    return values_of(motion, RepetitionKind(kind), events)


def film_truth(film: PackedFilm) -> ClipTruth:
    """Return what is known of a packed film."""
    return ClipTruth(
        name=film.name,
        fps=film.fps,
        time_s=film.motion.time_s,
        view=view_of(film.azimuth_deg),
        azimuth_deg=film.azimuth_deg,
        handedness=_hand(film),
        stature_m=film.motion.stature_m,
        time_scale=1.0,
        repetitions=(true_repetition(film),),
    )


def request_of(
    film: PackedFilm, *, as_reported: bool, azimuth_sd: float | None = None
) -> EngineRequest:
    """Return what the engine is asked of a film.

    Drills are announced, as they are where they were prescribed; the hand of a player who holds
    still is in the club's records. ``azimuth_sd``: the caller states the azimuth, that far off
    (degrees, one standard deviation).
    """
    drill = None if film.kind is RepetitionKind.SERVE else film.kind
    azimuth = None
    if azimuth_sd is not None:
        chance = np.random.default_rng(zlib.crc32(film.name.encode()))
        azimuth = float((film.azimuth_deg + azimuth_sd * chance.standard_normal()) % 360.0)
    return EngineRequest(
        stature_m=film.motion.stature_m,
        calibrated=as_reported,
        handedness=_hand(film) if drill is RepetitionKind.HOLD else Handedness.UNKNOWN,
        drill=drill,
        azimuth_deg=azimuth,
    )


def _hand(film: PackedFilm) -> Handedness:
    return Handedness.LEFT if film.motion.mirrored else Handedness.RIGHT


def measure_film(
    film: PackedFilm, *, as_reported: bool, azimuth_sd: float | None = None
) -> Measured:
    """Return the engine's errors on one film (`request_of`)."""
    truth = film_truth(film)
    request = request_of(film, as_reported=as_reported, azimuth_sd=azimuth_sd)
    begun = time.perf_counter()
    found = load().analyse(film.track, request)
    seconds = time.perf_counter() - begun
    view = found.view
    errors = clip_errors(truth, found.repetitions, view.label, view.azimuth_deg, found.handedness)
    return Measured(errors, seconds)


PARTS = 8
"""Tasks that a pack is cut into: each looks at every eighth film."""
Order = tuple[Path, int, Path, bool, float | None]


def _one(order: Order) -> list[str]:
    from .bulk.packs import read

    pack, part, out, as_reported, azimuth_sd = order
    lost = []
    for number, bulk in enumerate(read(pack)):
        if number % PARTS != part:
            continue
        notes = bulk.notes
        place = out / f"{notes['profile']}-{notes['seed']}-{notes['index']}.pickle"
        if place.exists():
            continue
        try:
            film = packed(bulk)
            if film is None:
                continue
            found = measure_film(film, as_reported=as_reported, azimuth_sd=azimuth_sd)
        except (ServewrightError, ValueError, np.linalg.LinAlgError) as error:
            lost.append(f"{place.stem}: {error!r}")
            continue
        half = place.with_suffix(".part")
        half.write_bytes(pickle.dumps(found))
        half.replace(place)
    return lost


def measure_all(
    packs: Iterable[Path],
    out: Path,
    processes: int,
    *,
    as_reported: bool = False,
    azimuth_sd: float | None = None,
) -> list[str]:
    """Measure every film of some packs into a folder; returns what went wrong."""
    out.mkdir(parents=True, exist_ok=True)
    orders = [(pack, part, out, as_reported, azimuth_sd) for pack in packs for part in range(PARTS)]
    with ProcessPoolExecutor(processes) as pool:
        return [text for lost in pool.map(_one, orders) for text in lost]


def read_errors(folder: Path) -> Iterator[Measured]:
    """Return what was measured into a folder, in order of name."""
    for path in sorted(folder.glob("*.pickle")):
        found: Measured = pickle.loads(path.read_bytes())
        yield found


def main(arguments: Sequence[str] | None = None) -> int:
    """Command line; returns the exit code."""
    parser = argparse.ArgumentParser(prog="python -m models.training measure", description=__doc__)
    parser.add_argument("films", type=Path, nargs="+", help="packed films, or folders of them")
    parser.add_argument("--processes", type=int, default=1)
    parser.add_argument("--as-reported", action="store_true")
    parser.add_argument("--azimuth-sd", type=float, help="state the azimuth, so far off, degrees")
    parser.add_argument("--out", type=Path, required=True)
    options = parser.parse_args(arguments)
    packs = packs_of(options.films)
    lost = measure_all(
        packs,
        options.out,
        options.processes,
        as_reported=options.as_reported,
        azimuth_sd=options.azimuth_sd,
    )
    found = list(read_errors(options.out))
    spent = [one.seconds for one in found]
    print(*lost, sep="\n", file=sys.stderr)
    print(f"{len(found)} films, engine {np.median(spent):.2f} s in the median, {len(lost)} lost")
    return 0


if __name__ == "__main__":
    # what is written must not name this script's own module
    from models.training.packed_measure import main as named

    sys.exit(named())
