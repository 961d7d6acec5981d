"""True shares of weight and load between the feet, worked out from the joints of a truth document.

``python -m models.training load-truth FILMS`` writes them into the documents of a folder; the
engine's definitions (`models.contract.metrics.families.weight`) read them from there. The formulas
are the referee's own and share nothing with the engine but the definition: the point where a foot
presses, the zero-moment point with the segments' angular momentum, accelerations by a quartic over
0.2 s to either side.
"""

from __future__ import annotations

import argparse
import gzip
import json
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

Array = np.ndarray[Any, np.dtype[Any]]

MUCH = 0.6
"""Share of the weight over the rear foot from which time is counted."""
AFTER_LOADING_S = 0.2
WINDOW_S = 0.2
GRAVITY = 9.81
RAISED, MIDDLE, BALL, HEEL = 0.023, 0.50, 0.75, 0.15
FLAT_RISE = 0.010
"""Heel point over toe point of a flat foot, share of standing height."""
SEGMENTS: dict[str, tuple[tuple[float, float], tuple[float, float]]] = {
    "upper_arm": ((0.0255, 0.5754), (0.0271, 0.5772)),
    "forearm": ((0.0138, 0.4559), (0.0162, 0.4574)),
    "thigh": ((0.1478, 0.3612), (0.1416, 0.4095)),
    "shank": ((0.0481, 0.4352), (0.0433, 0.4395)),
    "foot": ((0.0129, 0.4014), (0.0137, 0.4415)),
}
"""de Leva 1996, J Biomech 29(9):1223-1230, Table 4: (mass, place) of women and of men."""
HEAD, TRUNK = (0.0668, 0.0694), ((0.4257, 0.3782), (0.4346, 0.4310))
HAND, HAND_REACH = ((0.0056, 0.0061), (0.2206, 0.2532))
"""Mass, and centre beyond the wrist in forearm lengths (same table: 74.74 % of 78.0 / 264.3 and
79.00 % of 86.2 / 268.9)."""


class Masses:
    """Fourteen point masses of a filmed body over its frames, and where its feet press."""

    def __init__(self, document: Mapping[str, Any]) -> None:
        names = list(document["joint_names"])
        self.joints: Array = np.asarray(document["joints3d"], dtype=np.float64)
        given = document.get("frame_times_s")
        frames = len(self.joints)
        self.time_s: Array = np.asarray(given) if given else np.arange(frames) / document["fps"]
        self.rear, self.front = (
            ("left", "right") if document["handedness"] == "left" else ("right", "left")
        )
        self.height = float(document["body_height_m"])
        known = document if "gender" in document else document["phenotype"]
        woman = float(known["gender"])
        self._at = {name: self.joints[:, names.index(name)] for name in names}
        self.mass, self.places = self._masses(woman)
        self.centre: Array = np.einsum("s,std->td", self.mass, self.places)
        self.posture = self._share(self.centre)

    def _masses(self, woman: float) -> tuple[Array, Array]:
        def blend(pair: tuple[float, float]) -> float:
            return woman * pair[0] + (1.0 - woman) * pair[1]

        at = self._at
        chest = (at["left_shoulder"] + at["right_shoulder"]) / 2
        hips = (at["left_hip"] + at["right_hip"]) / 2
        share = blend((TRUNK[0][1], TRUNK[1][1]))
        mass = [blend(HEAD), blend((TRUNK[0][0], TRUNK[1][0]))]
        places = [(at["left_ear"] + at["right_ear"]) / 2, chest + share * (hips - chest)]
        ends = {
            "upper_arm": ("shoulder", "elbow"),
            "forearm": ("elbow", "wrist"),
            "thigh": ("hip", "knee"),
            "shank": ("knee", "ankle"),
            "foot": ("heel", "toe"),
        }
        for side in ("left", "right"):
            for name, (first, second) in ends.items():
                (women_mass, women_at), (men_mass, men_at) = SEGMENTS[name]
                mass.append(blend((women_mass, men_mass)))
                a, b = at[f"{side}_{first}"], at[f"{side}_{second}"]
                places.append(a + blend((women_at, men_at)) * (b - a))
            wrist, elbow = at[f"{side}_wrist"], at[f"{side}_elbow"]
            mass.append(blend(HAND))
            places.append(wrist + blend(HAND_REACH) * (wrist - elbow))
        weights = np.array(mass)
        return weights / weights.sum(), np.stack(places)

    def _presses(self, side: str) -> Array:
        heel, toe = self._at[f"{side}_heel"], self._at[f"{side}_toe"]
        raised = (heel[:, 2] - toe[:, 2] - FLAT_RISE * self.height) / (RAISED * self.height)
        place = np.interp(raised, [-1.0, 0.0, 1.0], [HEEL, MIDDLE, BALL])
        return np.asarray(heel + place[:, None] * (toe - heel))

    def _share(self, point: Array) -> Array:
        rear, front = (self._presses(side)[:, :2] for side in (self.rear, self.front))
        line = front - rear
        return np.asarray(
            1.0 - np.sum((point[:, :2] - rear) * line, axis=1) / np.sum(line * line, axis=1)
        )

    def force_share(self, when_s: float) -> float | None:
        """Share of the floor's force on the rear foot at an instant; None at a film's ends."""
        near = np.abs(self.time_s - when_s) <= WINDOW_S
        if near.sum() < 8 or not self.time_s[0] + 0.1 <= when_s <= self.time_s[-1] - 0.1:
            return None
        t = self.time_s[near] - when_s
        weight = (1.0 - (np.abs(t) / (WINDOW_S * 1.001)) ** 3) ** 1.5
        flat = self.places[:, near].transpose(1, 0, 2).reshape(len(t), -1)
        powers = np.polynomial.polynomial.polyfit(t, flat, 4, w=weight)
        pull = 2.0 * powers[2].reshape(len(self.mass), 3)

        def now(series: Array) -> Array:
            return np.array([np.interp(when_s, self.time_s, column) for column in series.T])

        places = np.stack([now(place) for place in self.places])
        centre, gain = self.mass @ places, self.mass @ pull
        spin = self.mass @ np.cross(places - centre, pull - gain)
        up = GRAVITY + gain[2]
        moved = np.array([centre[2] * gain[0] + spin[1], centre[2] * gain[1] - spin[0]]) / up
        rear, front = (now(self._presses(side))[:2] for side in (self.rear, self.front))
        line = front - rear
        return float(1.0 - (centre[:2] - moved - rear) @ line / (line @ line))


def load_measures(document: Mapping[str, Any], block: Mapping[str, Any]) -> dict[str, Any]:
    """Return the ``weight_over_rear_foot`` and ``load_on_rear_foot`` of one repetition."""
    masses = Masses(document)
    when = {key: float(v) for key, v in block["event_times_s"].items() if v is not None}
    time_s, share = masses.time_s, masses.posture
    steps = np.gradient(time_s)

    def much(mask: Array) -> float:
        return float(np.sum(steps[mask & (share >= MUCH)]))

    if "hold_start" in when:
        held = (time_s >= when["hold_start"]) & (time_s <= when["hold_end"])
        over = {
            "loading": float(np.interp(when["lowest_pelvis"], time_s, share)),
            "hold": float(np.mean(share[held])),
            "hold_time_60": much(held),
        }
        return {"weight_over_rear_foot": over}
    if "lowest_pelvis" not in when:
        return {}
    low = when["lowest_pelvis"]
    over = {"loading": float(np.interp(low, time_s, share))}
    before = (time_s >= when["start"]) & (time_s <= low + AFTER_LOADING_S)
    over["time_60"] = much(before)
    loading = (time_s >= when.get("release", np.inf)) & (time_s <= low)
    if loading.any() and "contact" in when:
        most = int(np.argmax(np.where(loading, share, -np.inf)))
        over["peak"] = float(share[most])
        over["most_loaded_before_contact"] = when["contact"] - float(time_s[most])
    force = masses.force_share(low)
    return {"weight_over_rear_foot": over} | (
        {} if force is None else {"load_on_rear_foot": {"loading": force}}
    )


def add_load_truth(document: dict[str, Any]) -> dict[str, Any]:
    """Write the shares into the repetitions of a truth document, and return it."""
    for block in (*document["serves"], *document.get("other_repetitions", ())):
        block.setdefault("measures", {}).update(load_measures(document, block))
    return document


def main(arguments: Sequence[str] | None = None) -> int:
    """Command line; returns the exit code."""
    parser = argparse.ArgumentParser(prog="python -m models.training load-truth")
    parser.add_argument("films", type=Path)
    options = parser.parse_args(arguments)
    paths = sorted(options.films.glob("[0-9]*.json*"))
    for path in paths:
        packed = path.suffix == ".gz"
        data = gzip.decompress(path.read_bytes()) if packed else path.read_bytes()
        text = json.dumps(add_load_truth(json.loads(data)), separators=(",", ":"))
        part = path.with_suffix(".part")
        part.write_bytes(gzip.compress(text.encode(), mtime=0) if packed else text.encode())
        part.replace(path)
    print(f"{len(paths)} documents", file=sys.stderr)
    return 0 if paths else 4


if __name__ == "__main__":
    sys.exit(main())
