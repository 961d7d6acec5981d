"""Films the films of a set; those that are there already are left as they are."""

from __future__ import annotations

import json
import math
import sys
import time
from pathlib import Path

from models.training.rendered.sound import add, track
from models.training.rendered.truth_file import write_truth

from .plan import SETS, films, with_sound


def make(name: str, count: int, folder: Path, fastest: float = math.inf) -> None:
    """Film the first ``count`` films of a set: NNN.mp4, then NNN.json, which marks it as done.

    Those of more than ``fastest`` frames per second, which take longest, are left out.
    """
    from models.training.rendered.film import film_clip

    folder.mkdir(parents=True, exist_ok=True)
    for index, (spec, rng, profile) in enumerate(films(name, count)):
        path = folder / f"{spec.name}.json"
        if path.exists() or spec.fps > fastest:
            continue
        began = time.process_time()
        film = path.with_suffix(".mp4")
        truth = film_clip(spec, rng, film)
        truth |= {
            "clip": spec.name,
            "set": name,
            "generator": spec.generator,
            "profile": profile,
            "seed": SETS[name].seed,
            "shutter_s": spec.shutter,
            "time_scale": spec.slow_motion,
        }
        if with_sound(index):
            samples, content = track(truth, SETS[name].seed * 1000 + index)
            add(film, samples)
            truth["sound"] = content
        write_truth(path, json.loads(json.dumps(truth)))
        spent = (time.process_time() - began) / truth["n_frames"]
        print(f"{film}: {truth['n_frames']} frames, {spent:.3f} s each", file=sys.stderr)
