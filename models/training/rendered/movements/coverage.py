"""How evenly a generator covers postures, and which parts of them go together.

``python -m models.training.rendered.movements.coverage GENERATOR --count 300`` prints percentiles
of the metrics at loading, trophy and contact against the ranges wanted, the evenness of each (share
of the entropy of an even distribution over the wanted range in ten steps) and the strongest
correlations.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence

import numpy as np

from models.training.rendered.rotation import Array
from models.training.rendered.skeleton import sample_skeleton

from . import GENERATORS
from .quick_truth import EVENTS, METRICS, quick_events, values_at

WANTED: dict[tuple[str, str], tuple[float, float]] = {
    ("rear_load_share", "loading"): (0.25, 0.80),
    ("front_knee_flexion", "trophy"): (2.0, 80.0),
    ("rear_knee_flexion", "trophy"): (2.0, 80.0),
    ("pelvis_turn_from_start", "trophy"): (-10.0, 45.0),
    ("separation", "trophy"): (-20.0, 60.0),
    ("shoulder_tilt", "trophy"): (-10.0, 60.0),
    ("trunk_lean", "trophy"): (-30.0, 10.0),
    ("trunk_side", "trophy"): (-10.0, 25.0),
    ("hitting_elbow_flexion", "trophy"): (30.0, 130.0),
    ("shoulder_tilt", "contact"): (-60.0, -5.0),
    ("trunk_lean", "contact"): (-5.0, 40.0),
    ("trunk_side", "contact"): (-10.0, 30.0),
    ("pelvis_turn", "contact"): (0.0, 65.0),
    ("shoulder_turn", "contact"): (-20.0, 70.0),
    ("hitting_elbow_flexion", "contact"): (5.0, 55.0),
    ("shoulder_elevation", "contact"): (95.0, 150.0),
    ("front_knee_flexion", "contact"): (5.0, 50.0),
    ("rear_knee_flexion", "contact"): (5.0, 60.0),
}
"""Range of each metric that bodies can have and sets should cover: degrees, shares."""


def sample(generator: str, count: int, seed: int) -> Array:
    """Values of `WANTED` of `count` serves, (count, 18)."""
    rows = []
    for index in range(count):
        rng = np.random.default_rng([seed, index])
        performance = GENERATORS[generator](sample_skeleton(rng), rng, "serve")
        values = values_at(performance, quick_events(performance))
        rows.append([_value(values, metric, event) for metric, event in WANTED])
    return np.array(rows)


def _value(values: Array, metric: str, event: str) -> float:
    row = values[EVENTS.index(event)]
    if metric == "pelvis_turn_from_start":
        column = METRICS.index("pelvis_turn")
        return float(row[column] - values[EVENTS.index("start"), column])
    return float(row[METRICS.index(metric)])


def evenness(column: Array, wanted: tuple[float, float]) -> float:
    """Entropy over ten steps of the wanted range, of that of an even distribution: 1 = even."""
    inside = np.histogram(column, bins=10, range=wanted)[0].astype(np.float64)
    p = inside / max(inside.sum(), 1.0)
    return float(-np.sum(p[p > 0] * np.log(p[p > 0])) / np.log(10.0))


def report(generator: str, count: int, seed: int) -> list[str]:
    """Lines of the table."""
    values = sample(generator, count, seed)
    lines = [f"{generator}, {len(values)} serves: 5 25 50 75 95 %, evenness, share inside"]
    for (key, wanted), column in zip(WANTED.items(), values.T, strict=True):
        digits = 2 if "share" in key[0] else 0
        marks = " ".join(f"{v:7.{digits}f}" for v in np.percentile(column, [5, 25, 50, 75, 95]))
        inside = float(np.mean((column >= wanted[0]) & (column <= wanted[1])))
        lines.append(f"{'@'.join(key):34s}{marks} {evenness(column, wanted):5.2f} {inside:5.2f}")
    r: Array = np.asarray(np.corrcoef(values.T)).reshape(len(WANTED), len(WANTED))
    names = ["@".join(key) for key in WANTED]
    pairs = [(r[i, j], names[i], names[j]) for i in range(len(names)) for j in range(i)]
    sizes = np.abs([p[0] for p in pairs])
    lines.append(f"correlations: median {np.median(sizes):.2f}, over 0.5: {np.sum(sizes > 0.5)}")
    lines += [f"{p[0]:6.2f} {p[1]} {p[2]}" for p in sorted(pairs, key=lambda p: -abs(p[0]))[:12]]
    return lines


def main(arguments: Sequence[str] | None = None) -> int:
    """Entry point; returns the exit code."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("generator", choices=sorted(GENERATORS))
    parser.add_argument("--count", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args(arguments)
    print("\n".join(report(options.generator, options.count, options.seed)))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
