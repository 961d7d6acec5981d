"""Who is in the picture: bodies with clothes and a movement."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from .body_mesh import BodyMesh, make_body_mesh, sample_phenotype
from .clips import ClipSpec, make_performance
from .outfit import Outfit, drawn_cut, dress
from .performance import Performance, perform
from .phenotypes import anyone
from .rotation import Array


@dataclass(frozen=True)
class Actor:
    """A filmed body: its performance, mesh and clothes; `offset` moves it on the ground, `grip` is
    the angle of the racket in the hand.
    """

    performance: Performance
    mesh: BodyMesh
    outfit: Outfit
    offset: Array
    grip: float = 0.0


def grip_angle(performance: Performance) -> float:
    """Angle of the strings in the hand, degrees, that faces them to the net at contact."""
    times = [r.knots["contact"] for r in performance.repetitions if "contact" in r.knots]
    if not times:
        return 0.0
    frame = performance.motion.body(np.array(times[:1])).frames["racket"][0]
    normal, axis = frame[:, 0], -frame[:, 2]
    return float(np.degrees(np.arctan2(np.cross(axis, normal)[0], normal[0])))


def day_of(spec: ClipSpec) -> np.random.Generator:
    """Draws what differs on another day: clothes, light, picture."""
    return np.random.default_rng([spec.seed, spec.day])


def cast(spec: ClipSpec, rng: np.random.Generator) -> list[Actor]:
    """The server, and a bystander if the clip wants one."""
    mesh = make_body_mesh(anyone(rng) if spec.anyone else sample_phenotype(rng))
    performance = make_performance(spec, mesh.skeleton)
    grip = grip_angle(performance)
    cut = drawn_cut(rng, mesh.skeleton.gender) if spec.anyone else None
    outfit = dress(mesh, rng, day_of(spec) if spec.day else None, cut)
    actors = [Actor(performance, mesh, outfit, np.zeros(3), grip)]
    if spec.people > 1:
        other = make_body_mesh(sample_phenotype(rng))
        standing = perform("stand", other.skeleton, spec.knobs, seed=spec.seed + 1)
        away = np.array([float(rng.uniform(1.2, 3.0)), float(rng.uniform(1.5, 4.0)), 0.0])
        if spec.left_handed:
            away[1] = -away[1]
        actors.append(Actor(replace(standing, racket=False), other, dress(other, rng), away))
    return actors
