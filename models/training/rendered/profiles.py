"""Profiles: what a set of clips contains, drawn from a seed, one generator a clip."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from .camera import CameraSpec
from .clips import ClipSpec
from .invented import HOLD_S, PLAYERS, invented
from .knobs import ServeKnobs, sample_knobs
from .movements import USES, draw_kind
from .one_knob import KNOBS, turned
from .performance import OTHER
from .story import story_clip

#: azimuth ranges (degrees) by view
VIEWS = {
    "side": (76, 104),
    "front-quarter": (22, 68),
    "rear-quarter": (112, 160),
    "behind": (166, 194),
    "front": (-14, 14),
    "back-side": (215, 325),
}
_MIXED = {
    "side": 0.40,
    "front-quarter": 0.14,
    "rear-quarter": 0.18,
    "behind": 0.16,
    "front": 0.06,
    "back-side": 0.06,
}
_CALIBRATION = {"side": 0.46, "rear-quarter": 0.18, "front-quarter": 0.12, "behind": 0.24}
_LIFT = {
    "side": 0.36,
    "rear-quarter": 0.22,
    "front-quarter": 0.16,
    "behind": 0.18,
    "front": 0.04,
    "back-side": 0.04,
}


def _choose(rng: np.random.Generator, weights: dict[str, float]) -> str:
    names = list(weights)
    p = np.array([weights[n] for n in names])
    return names[int(rng.choice(len(names), p=p / p.sum()))]


def _camera(rng: np.random.Generator, view: str) -> CameraSpec:
    low, high = VIEWS[view]
    return CameraSpec(
        azimuth=float(rng.uniform(low, high)) % 360.0,
        height=float(rng.uniform(0.9, 2.0)),
        distance=float(rng.uniform(5.5, 12.0)),
        roll=float(rng.normal(0, 1.0)),
        fill=float(rng.uniform(0.82, 0.96)),
        shift=float(rng.uniform(-0.06, 0.06)),
        jitter=float(rng.uniform(0.5, 2.5)) if rng.random() < 0.3 else 0.0,
        jitter_seed=int(rng.integers(1 << 31)),
    )


def _plain(rng: np.random.Generator, name: str, weights: dict[str, float]) -> ClipSpec:
    """A serve filmed without special trouble."""
    portrait = rng.random() < 0.15
    size = [(640, 480), (960, 540), (1280, 720)][int(rng.choice(3, p=[0.25, 0.4, 0.35]))]
    fps = float(rng.choice([30, 50, 60, 120], p=[0.15, 0.1, 0.6, 0.15]))
    return ClipSpec(
        name=name,
        kind="serve",
        seed=int(rng.integers(1 << 31)),
        knobs=sample_knobs(rng),
        camera=_camera(rng, _choose(rng, weights)),
        fps=fps,
        size=(size[1], size[0]) if portrait else size,
        left_handed=bool(rng.random() < 0.25),
        shutter=float(rng.choice([0.0, 0.25, 0.5])) / fps,
        crf=int(rng.integers(19, 27)),
        background=str(rng.choice(["court", "court", "fence", "indoor"])),
        start=float(rng.uniform(0.3, 0.7)),
    )


def _calibration(rng: np.random.Generator, name: str) -> ClipSpec:
    spec = _plain(rng, name, _CALIBRATION)
    knobs = spec.knobs.changed(tempo=min(spec.knobs.tempo, 1.2))
    return replace(spec, knobs=knobs, shutter=0.0, start=float(rng.uniform(0.3, 0.45)))


def _lift(rng: np.random.Generator, name: str) -> ClipSpec:
    """Cheap films to train the lift with: small pictures, half of them at 30 frames a second."""
    spec = _plain(rng, name, _LIFT)
    return replace(
        spec,
        knobs=spec.knobs.changed(tempo=min(spec.knobs.tempo, 1.2)),
        size=(640, 480) if spec.size[0] > spec.size[1] else (480, 640),
        fps=float(rng.choice([30.0, 60.0])),
        shutter=0.0,
        start=float(rng.uniform(0.3, 0.45)),
    )


#: how much one player's serves differ among each other (standard deviations; common practice, no
#: source)
_SERVE_TO_SERVE = {
    "rear_share": 0.01,
    "knee_front": 1.5,
    "knee_rear": 1.5,
    "pelvis_turn": 1.5,
    "separation": 1.5,
    "shoulder_tilt": 1.5,
    "trophy_lean": 1.0,
    "trophy_arch": 1.0,
    "elbow_trophy": 2.0,
    "contact_tilt": 1.5,
    "contact_lean": 1.0,
    "contact_side": 1.0,
    "contact_pelvis": 1.5,
    "contact_shoulder": 1.5,
    "elbow_contact": 1.5,
    "reach": 1.5,
    "toss_arm": 2.0,
    "tempo": 0.02,
    "drive": 0.005,
}
SESSION = 4
"""Serves of one session of the profile ``two_sessions``."""


def _put_back(rng: np.random.Generator, camera: CameraSpec) -> CameraSpec:
    """The camera put back by hand where it stood."""
    turn = rng.normal(size=3)
    return replace(
        camera,
        azimuth=float(camera.azimuth + 3.0 * turn[0]) % 360.0,
        distance=float(camera.distance * (1.0 + 0.03 * turn[1])),
        height=float(camera.height + 0.05 * turn[2]),
    )


def _once(knobs: ServeKnobs, seed: int, number: int) -> ServeKnobs:
    """One serve of a player: a little different from the others."""
    own = np.random.default_rng([seed, number])
    wobble = {key: getattr(knobs, key) + own.normal(0, sd) for key, sd in _SERVE_TO_SERVE.items()}
    return replace(knobs, **wobble)


def _two_sessions(rng: np.random.Generator, name: str) -> ClipSpec:
    """Two sessions of one player, one serve a film: in the second, one knob is turned, the camera
    was put back by hand, and clothes and light are another day's. Then the first serve again from
    another view.

    The camera stands where the knob's metric can be measured; serves differ a little.
    """
    body, number = divmod(int(name), 2 * SESSION + 1)
    knob = KNOBS[body % len(KNOBS)]
    view = knob.views[body // len(KNOBS) % len(knob.views)]
    spec = replace(_plain(rng, name, {view: 1.0}), shutter=0.0, fps=60.0, size=(640, 480))
    knobs = spec.knobs.changed(tempo=min(spec.knobs.tempo, 1.2))
    again = _put_back(rng, spec.camera)
    if SESSION <= number < 2 * SESSION:
        spec, knobs = replace(spec, camera=again, day=1), turned(knobs, knob)
    elif number == 2 * SESSION:
        away = 45.0 if view == "side" else -45.0
        camera = replace(spec.camera, azimuth=(spec.camera.azimuth + away) % 360.0)
        spec, number = replace(spec, camera=camera), 0
    return replace(spec, knobs=_once(knobs, spec.seed, number))


DECIDED = 3
"""Films of each of the four sittings of the profile ``decided``."""


def _decided(rng: np.random.Generator, name: str) -> ClipSpec:
    """An invented player: serves of the baseline, after practice and later, then the static holds,
    one repetition a film.

    For reports on decisions; nothing is tuned on it. The camera was put back by hand for each
    sitting, and clothes and light are another day's; serves differ a little.
    """
    body, number = divmod(int(name), 4 * DECIDED)
    player = invented(body % PLAYERS)
    spec = replace(_plain(rng, name, {"side": 1.0}), shutter=0.0, fps=60.0, size=(640, 480))
    knobs = player.technique(spec.knobs.changed(tempo=min(spec.knobs.tempo, 1.2)))
    cameras = [spec.camera, *(_put_back(rng, spec.camera) for _ in range(3))]
    sitting = number // DECIDED
    spec = replace(spec, camera=cameras[sitting], day=sitting)
    if sitting == 3:
        spec = replace(spec, kind="hold", fps=30.0, hold=HOLD_S)
    knobs = knobs.changed(rear_share=(*player.loads, player.held)[sitting])
    return replace(spec, knobs=_once(knobs, spec.seed, number))


def _motion(rng: np.random.Generator, name: str) -> ClipSpec:
    spec = _plain(rng, name, _MIXED)
    return replace(
        spec, fps=float(rng.choice([24, 30, 60, 120, 240], p=[0.05, 0.2, 0.5, 0.15, 0.1]))
    )


def _full(rng: np.random.Generator, name: str) -> ClipSpec:
    """Everything: drills, other activities, several serves, awkward films."""
    spec = replace(
        _plain(rng, name, _MIXED),
        fps=float(rng.choice([24, 30, 60, 120, 240], p=[0.1, 0.25, 0.4, 0.15, 0.1])),
    )
    draw = rng.random()
    if draw < 0.22:
        spec = replace(spec, kind=str(rng.choice(OTHER)), fps=min(spec.fps, 60.0))
    elif draw < 0.42:
        kind = str(rng.choice(["hold", "shadow", "throw"]))
        spec = replace(spec, kind=kind, fps=min(spec.fps, 60.0), hold=float(rng.uniform(1.5, 4.0)))
        spec = replace(
            spec, throw_elevation=float(rng.uniform(15, 75)), slow=float(rng.uniform(1.6, 3.0))
        )
    elif draw < 0.52:
        spec = replace(spec, count=int(rng.integers(2, 4)), fps=30.0)
    trouble = str(
        rng.choice(["", "", "feet", "people", "net", "vfr", "slow", "rotate", "backlight", "roll"])
    )
    camera = spec.camera
    changes: dict[str, object] = {}
    if trouble == "feet":
        camera = replace(camera, floor=float(rng.uniform(0.25, 0.5)), tall=2.4)
    elif trouble == "people":
        changes["people"] = 2
    elif trouble == "net":
        changes["occlusion"] = str(rng.choice(["net", "fence"]))
    elif trouble == "vfr":
        changes["variable_rate"] = True
    elif trouble == "slow" and spec.fps >= 60:
        changes["slow_motion"] = spec.fps / 30.0
    elif trouble == "rotate":
        changes |= {"rotation": 90, "size": (480, 854)}
    elif trouble == "backlight":
        changes["backlight"] = True
    elif trouble == "roll":
        camera = replace(camera, roll=float(rng.uniform(-6, 6)))
    return replace(spec, camera=camera, **changes)  # type: ignore[arg-type]


#: what the committed small set adds to plain serves, by index
_SMALL: dict[int, dict[str, object]] = {
    10: {"kind": "hold", "hold": 2.0, "fps": 30.0},
    11: {"kind": "shadow", "slow": 2.0, "fps": 30.0},
    12: {"kind": "throw", "throw_elevation": 58.0},
    13: {"rotation": 90, "size": (480, 854), "fps": 30.0},
    14: {"fps": 120.0, "slow_motion": 4.0},
    15: {"variable_rate": True, "fps": 30.0},
    16: {"backlight": True, "fps": 30.0},
    17: {"kind": "bounce", "fps": 30.0},
    18: {"kind": "stand", "fps": 30.0, "people": 2},
    19: {"occlusion": "net", "fps": 30.0, "left_handed": True},
}


def _small(rng: np.random.Generator, name: str) -> ClipSpec:
    """One case each of drills, other activities and awkward files, side view, small picture."""
    spec = _calibration(rng, name)
    camera = replace(_camera(rng, "side"), jitter=0.0)
    knobs = spec.knobs.changed(tempo=min(spec.knobs.tempo, 0.95))
    spec = replace(spec, camera=camera, knobs=knobs, size=(640, 480), fps=60.0, crf=24, start=0.35)
    spec = replace(spec, left_handed=False)
    return replace(spec, **_SMALL.get(int(name), {}))  # type: ignore[arg-type]


def _moves(use: str) -> Callable[[np.random.Generator, str], ClipSpec]:
    """Films of the generators of one use, so that sets for other uses share none."""

    def draw(rng: np.random.Generator, name: str) -> ClipSpec:
        spec = _plain(rng, name, _MIXED)
        generator = USES[use][int(rng.integers(len(USES[use])))]
        return replace(spec, generator=generator, kind=draw_kind(rng))

    return draw


_DRILLS = {"hold": 0.6, "shadow": 0.2, "throw": 0.2}
_EVERY_SIDE = {"side": 0.4, "front-quarter": 0.2, "rear-quarter": 0.2, "behind": 0.2}


def _drills(use: str) -> Callable[[np.random.Generator, str], ClipSpec]:
    """Drills by generators of one use; holds at 30 frames a second, as nothing moves in them."""

    def draw(rng: np.random.Generator, name: str) -> ClipSpec:
        spec = _plain(rng, name, _EVERY_SIDE)
        generator = USES[use][int(rng.integers(len(USES[use])))]
        kind = _choose(rng, _DRILLS)
        fps = 30.0 if kind == "hold" else float(rng.choice([30.0, 60.0]))
        return replace(spec, generator=generator, kind=kind, fps=fps, shutter=0.25 / fps)

    return draw


def _any_camera(rng: np.random.Generator) -> CameraSpec:
    """A phone anywhere from the front quarter round the back, on either side, low or high."""
    azimuth = rng.uniform(15, 195) if rng.random() < 0.75 else rng.uniform(195, 345)
    height = float(np.exp(rng.uniform(np.log(0.3), np.log(4.0))))
    wide = rng.random() < 0.4
    return CameraSpec(
        azimuth=float(azimuth),
        height=height,
        distance=float(rng.uniform(3.5, 6.0) if wide else rng.uniform(5.0, 13.0)),
        roll=float(np.clip(rng.normal(0, 3.5), -12, 12)),
        fill=float(rng.uniform(0.6, 0.96)),
        shift=float(rng.uniform(-0.18, 0.18)),
        rise=float(rng.uniform(-0.05, 0.05)),
        k1=float(rng.uniform(-0.16, 0.02)) if wide else 0.0,
        jitter=float(rng.uniform(0.5, 8.0)) if rng.random() < 0.45 else 0.0,
        jitter_seed=int(rng.integers(1 << 31)),
    )


def _free(use: str) -> Callable[[np.random.Generator, str], ClipSpec]:
    """Films of the generators of one use with bodies, clothes, cameras and films of every kind."""

    def draw(rng: np.random.Generator, name: str) -> ClipSpec:
        spec = _moves(use)(rng, name)
        fps = float(rng.choice([25, 30, 50, 60, 120, 240], p=[0.1, 0.25, 0.1, 0.35, 0.12, 0.08]))
        size = (1280, 720) if rng.random() < 0.6 else (720, 1280)
        return replace(
            spec,
            camera=_any_camera(rng),
            fps=fps,
            size=size,
            shutter=float(rng.uniform(0.05, 0.9)) / fps,
            backlight=bool(rng.random() < 0.12),
            crf=int(rng.integers(19, 38)),
            variable_rate=bool(rng.random() < 0.1),
            people=2 if rng.random() < 0.1 else 1,
            anyone=True,
        )

    return draw


PROFILES: dict[str, Callable[[np.random.Generator, str], ClipSpec]] = {
    "motion": _motion,
    "calibration": _calibration,
    "lift": _lift,
    "two_sessions": _two_sessions,
    "decided": _decided,
    "full": _full,
    "small": _small,
    "story": story_clip,
    **{f"moves_{use}": _moves(use) for use in USES},
    **{f"free_{use}": _free(use) for use in USES},
    **{f"drills_{use}": _drills(use) for use in USES},
}
SAME_BODY = {"two_sessions": 2 * SESSION + 1, "decided": 4 * DECIDED, "story": 100}
"""Profiles in which so many clips in a row show one body."""


def draw_clip(profile: str, seed: int, index: int) -> tuple[ClipSpec, np.random.Generator]:
    """The index-th clip of a set, and the generator to draw its body with; independent of other
    clips.
    """
    body = index // SAME_BODY.get(profile, 1)
    rng = np.random.default_rng([seed, body, sum(map(ord, profile))])
    return PROFILES[profile](rng, f"{index:03d}"), rng
