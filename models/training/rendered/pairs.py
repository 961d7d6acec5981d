"""Pairs of serves by one body: what does a comparison say of them?

``python -m models.training.rendered.pairs --count 40 --noise joints`` measures the true joints with
the noise of a motion-capture system; ``--noise film`` goes through simulated film landmarks (noisy
pixels, shrunken depth) and the engine's way from film.

- *knob*: the two differ in one knob of the motion. The metric of that knob should be ``changed``,
  and no metric that did not truly move. (A body is one piece: one knob moves several true values a
  little, so besides the strict count the true differences are the judge.)
- *same*: one serve, measured twice with other noise. Nothing should be ``changed``.
- *refilmed* (film only): one serve from two views. Nothing should be ``changed``.
- *shared error* (film only): correlation of the errors of both sides of the knob pairs, which were
  filmed from one place.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from models.contract.analysis import Analysis
from models.contract.clip import ClipFacts, Usability
from models.contract.comparison import Comparison, MetricDifference, Verdict
from models.contract.metrics.definition import metric_name
from models.contract.tracks import BodyMotion
from workers.decide.compare import Group, compare
from workers.engine.engine import analyse_motion
from workers.engine.interface import ENGINE_VERSION, EngineRequest, EngineResult
from workers.engine.truth import ClipTruth, read_truth
from workers.engine.uncertainty import draw_joints
from workers.learned import load

from .clips import ClipSpec, aim_camera, frame_times, make_performance, sampled_body
from .one_knob import KNOBS, Key, Knob, turned
from .profiles import draw_clip
from .skeleton import Skeleton
from .truth import clip_truth

MOCAP_SD_M = 0.004
"""Noise of a joint coordinate, metres: of the order of optical motion capture."""


def document(spec: ClipSpec, skeleton: Skeleton) -> dict[str, Any]:
    """The truth of a clip that is never filmed."""
    performance = make_performance(spec, skeleton)
    times = frame_times(spec, performance.duration)
    camera = aim_camera(spec, performance, len(times))
    return clip_truth(performance, camera, times, spec.fps) | {"n_people": 1}


def measured(truth: dict[str, Any], noise: str, seed: int) -> Analysis:
    """What the engine says of a clip with this noise."""
    stature = float(truth["body_height_m"])
    request = EngineRequest(stature_m=stature, seed=seed)
    if noise == "film":
        from models.training.rendered.bodies import track_of

        found = load().analyse(track_of(truth, seed=seed), request)
    else:
        found = analyse_motion(_mocap(truth, seed), request)
    return as_analysis(found, truth)


def _mocap(truth: dict[str, Any], seed: int) -> BodyMotion:
    from models.training.rendered.bodies import motion_of

    clean = motion_of(truth, MOCAP_SD_M)
    noisy = draw_joints(clean, 1, seed)[0]
    return BodyMotion(
        time_s=clean.time_s,
        frame_index=clean.frame_index,
        joints=noisy,
        sd=np.full(noisy.shape, MOCAP_SD_M),
        mirrored=clean.mirrored,
        stature_m=clean.stature_m,
        method=clean.method,
    )


def as_analysis(found: EngineResult, truth: dict[str, Any]) -> Analysis:
    """What the engine found as a document, as if it came from a film."""
    frames = int(truth["n_frames"])
    return Analysis(
        clip=ClipFacts(
            duration_s=frames / truth["fps"],
            frame_rate=truth["fps"],
            frames=frames,
            width=truth["width"],
            height=truth["height"],
        ),
        view=found.view,
        handedness=found.handedness,
        scale=found.scale,
        usability=Usability(usable=True),
        repetitions=found.repetitions,
        engine_version=ENGINE_VERSION,
    )


def compared(
    ones: Sequence[Analysis], twos: Sequence[Analysis], focus: Sequence[str] = ()
) -> Comparison:
    """The comparison of two sides of one player, one analysis a film."""
    groups = [
        Group(side, tuple((f"{side}-{i}", a) for i, a in enumerate(analyses)))
        for side, analyses in (("first", ones), ("second", twos))
    ]
    return compare(groups[0], groups[1], same_player=True, focus=focus)


def true_difference(
    row: MetricDifference, ones: Sequence[ClipTruth], twos: Sequence[ClipTruth]
) -> float | None:
    """Second mean minus first, as it truly is; None where the truth does not know the metric."""
    name = metric_name(row.key, row.event)
    sides = [[clip.repetitions[0].metrics.get(name) for clip in side] for side in (ones, twos)]
    means = []
    for side in sides:
        known = [value for value in side if value is not None]
        if len(known) < len(side):
            return None
        means.append(float(np.mean(known)))
    return means[1] - means[0]


@dataclass
class Tally:
    """Counts over pairs; ``changed``: what was rightly called so, pair by pair.

    A true change is clear where it is at least as large as what the comparison calls detectable.
    """

    pairs: int = 0
    own: int = 0
    strict: int = 0
    none_false: int = 0
    exact: int = 0
    same: int = 0
    same_quiet: int = 0
    refilmed: int = 0
    refilmed_quiet: int = 0
    intervals: int = 0
    covered: int = 0
    clear: int = 0
    clear_seen: int = 0
    knob_clear: int = 0
    knob_clear_own: int = 0
    knob_clear_exact: int = 0
    changed: list[frozenset[Key]] = field(default_factory=list)
    of_knob: dict[str, list[bool]] = field(default_factory=lambda: defaultdict(list))
    false: dict[str, int] = field(default_factory=lambda: defaultdict(int))
    errors: dict[str, list[tuple[float, float]]] = field(default_factory=lambda: defaultdict(list))

    def report(self) -> dict[str, Any]:
        """The shares, as JSON."""

        def share(part: int, whole: int) -> float | None:
            return round(part / whole, 3) if whole else None

        return {
            "knob_pairs": self.pairs,
            "own_metric_changed": share(self.own, self.pairs),
            "own_and_no_other_changed": share(self.strict, self.pairs),
            "none_changed_that_did_not_truly_move": share(self.none_false, self.pairs),
            "own_changed_and_nothing_that_did_not_truly_move": share(self.exact, self.pairs),
            "own_metric_changed_by_knob": {
                name: f"{sum(seen)}/{len(seen)}" for name, seen in sorted(self.of_knob.items())
            },
            "true_changes_of_at_least_the_detectable": self.clear,
            "of_these_called_changed": share(self.clear_seen, self.clear),
            "knob_pairs_with_such_a_change_of_the_knobs_metric": self.knob_clear,
            "of_these_own_metric_changed": share(self.knob_clear_own, self.knob_clear),
            "of_these_own_changed_and_nothing_that_did_not_truly_move": share(
                self.knob_clear_exact, self.knob_clear
            ),
            "falsely_changed": dict(sorted(self.false.items(), key=lambda one: -one[1])),
            "intervals_of_differences": self.intervals,
            "intervals_that_hold_the_truth": share(self.covered, self.intervals),
            "same_serve_pairs": self.same,
            "same_serve_nothing_changed": share(self.same_quiet, self.same),
            "refilmed_pairs": self.refilmed,
            "refilmed_nothing_changed": share(self.refilmed_quiet, self.refilmed),
            "shared_error": shared_error(self.errors),
        }


def shared_error(errors: dict[str, list[tuple[float, float]]]) -> dict[str, Any] | None:
    """Median over metrics of the correlation of both sides' errors (value minus truth)."""
    found = {
        name: float(np.corrcoef(np.array(pairs).T)[0, 1])
        for name, pairs in errors.items()
        if len(pairs) >= 10
    }
    if not found:
        return None
    low, middle, high = np.percentile(list(found.values()), [25, 50, 75])
    return {
        "metrics": len(found),
        "median": round(float(middle), 2),
        "quartiles": [round(float(low), 2), round(float(high), 2)],
    }


def run(
    count: int,
    seed: int,
    noise: str,
    note: Callable[[Tally], None] = lambda _tally: None,
    *,
    focus: bool = False,
) -> Tally:
    """Measure ``count`` pairs of each sort; ``note`` hears of the counts after each.

    ``focus``: the knob is named beforehand as what was worked on.
    """
    tally = Tally()
    for index, (spec, skeleton) in enumerate(_specs(count, seed, noise)):
        if index:
            note(tally)
        knob = KNOBS[index % len(KNOBS)]
        documents = [
            document(one, skeleton) for one in (spec, replace(spec, knobs=turned(spec.knobs, knob)))
        ]
        truths = [read_truth(one) for one in documents]
        sides = [measured(one, noise, 10 * index + i) for i, one in enumerate(documents)]
        if not all(len(side.repetitions) == 1 for side in sides):
            continue
        found = compared(sides[:1], sides[1:], knob.names if focus else ())
        count_knob(tally, knob, found, truths[:1], truths[1:])
        _note_errors(tally, sides, truths)
        again = measured(documents[0], noise, 10 * index + 5)
        if len(again.repetitions) == 1:
            tally.same += 1
            tally.same_quiet += quiet(compared(sides[:1], [again]))
        if noise == "film":
            azimuth = 90.0 if abs(spec.camera.azimuth - 90.0) > 20 else 135.0
            elsewhere = replace(spec, camera=replace(spec.camera, azimuth=azimuth))
            other = measured(document(elsewhere, skeleton), noise, 10 * index + 7)
            if len(other.repetitions) == 1:
                tally.refilmed += 1
                tally.refilmed_quiet += quiet(compared(sides[:1], [other]))
    return tally


def _specs(count: int, seed: int, noise: str) -> Iterator[tuple[ClipSpec, Skeleton]]:
    for index in range(count):
        spec, rng = draw_clip("calibration", seed, index)
        yield replace(spec, fps=60.0 if noise == "film" else 120.0), sampled_body(rng)


def quiet(comparison: Comparison) -> bool:
    """Whether nothing is called changed."""
    return not any(row.verdict is Verdict.SURELY_CHANGED for row in comparison.differences)


def count_knob(
    tally: Tally,
    knob: Knob,
    comparison: Comparison,
    ones: Sequence[ClipTruth],
    twos: Sequence[ClipTruth],
) -> None:
    """Count what a comparison says of two sides that differ in a knob.

    A metric is falsely ``changed`` where it truly moved by less than one standard error of the
    difference, or the other way.
    """
    clear = False
    for row in comparison.differences:
        truly = true_difference(row, ones, twos)
        if truly is None or row.low is None or row.high is None:
            continue
        tally.intervals += 1
        tally.covered += row.low <= truly <= row.high
        if row.detectable is not None and abs(truly) >= row.detectable:
            tally.clear += 1
            tally.clear_seen += (
                row.verdict is Verdict.SURELY_CHANGED and truly * (row.difference or 0) > 0
            )
            clear = clear or _key(row) in knob.metrics
    changed = [row for row in comparison.differences if row.verdict is Verdict.SURELY_CHANGED]
    keys, false = set(), []
    for row in changed:
        truly = true_difference(row, ones, twos)
        if truly is None:
            continue
        assert row.difference is not None
        assert row.mdc95 is not None
        if truly * row.difference > 0 and abs(truly) >= row.mdc95 / 1.96:
            keys.add(_key(row))
        else:
            false.append(row.key)
    own = bool(keys & knob.metrics)
    tally.changed.append(frozenset(keys))
    tally.pairs += 1
    tally.own += own
    tally.strict += own and len(changed) == len(keys & knob.metrics)
    tally.none_false += not false
    tally.exact += own and not false
    tally.knob_clear += clear
    tally.knob_clear_own += clear and own
    tally.knob_clear_exact += clear and own and not false
    tally.of_knob[knob.name].append(own)
    for key in false:
        tally.false[key] += 1


def _key(row: MetricDifference) -> Key:
    return row.key, row.event.value if row.event else None


def _note_errors(tally: Tally, sides: list[Analysis], truths: list[ClipTruth]) -> None:
    errors: list[dict[str, float]] = []
    for side, truth in zip(sides, truths, strict=True):
        known = truth.repetitions[0].metrics
        errors.append(
            {
                name: metric.value - known[name]
                for metric in side.repetitions[0].metrics
                if metric.value is not None
                and (name := metric_name(metric.key, metric.event)) in known
            }
        )
    for name in errors[0].keys() & errors[1].keys():
        tally.errors[name].append((errors[0][name], errors[1][name]))


def main() -> None:
    """Command line of this module."""
    parser = argparse.ArgumentParser(
        prog="python -m models.training.rendered.pairs", description=__doc__
    )
    parser.add_argument("--count", type=int, default=24)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--noise", choices=("joints", "film"), default="joints")
    parser.add_argument("--focus", action="store_true", help="name the knob beforehand")
    options = parser.parse_args()

    def note(tally: Tally) -> None:
        print(json.dumps(tally.report()), file=sys.stderr, flush=True)

    tally = run(options.count, options.seed, options.noise, note, focus=options.focus)
    print(json.dumps(tally.report(), indent=1))


if __name__ == "__main__":
    main()
