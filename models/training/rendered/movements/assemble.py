"""From an intent to a movement of a body: feet, legs, balance, gaze, racket at the ball."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import gaussian_filter1d

from models.training.rendered import truth_formulas as f
from models.training.rendered.implements import GRAVITY
from models.training.rendered.pose import CHANNELS, Body, pose
from models.training.rendered.rotation import Array, cross, turn_roll_pitch
from models.training.rendered.skeleton import Skeleton

from .feet import feet_paths, solve_legs
from .grid_motion import GridMotion
from .intent import Intent, within_limits
from .plan import RATE, Plan
from .ranges import soft_limit
from .smooth_steps import step, wander

_ROUNDS = 2
#: a body part of the mass follows the pelvis: a shift of the pelvis moves the centre of mass by
#: this much less
_FOLLOWS = 0.86
#: the head against the thorax, degrees: turn and pitch (J Bone Joint Surg Am 1979 has no neck;
#: working values of common tables)
_HEAD_TURN, _HEAD_PITCH = 72.0, (-58.0, 50.0)


class Draft:
    """A movement in the making; what the intent cannot have (reach, limits) is cut off smoothly."""

    def __init__(self, s: Skeleton, plan: Plan, intent: Intent, rng: np.random.Generator):
        self.skeleton, self.plan, self.intent, self.rng = s, plan, intent, rng
        t = plan.grid
        self.feet = feet_paths(s, plan, rng)
        p = within_limits(intent.paths, plan, self.feet["F_yaw"], self.feet["R_yaw"])
        c = {name: np.zeros_like(t) for name in CHANNELS}
        c |= {k: v for k, v in self.feet.items() if k in c}
        c |= {k: v for k, v in p.items() if k in c}
        c["t_turn"], c["t_roll"] = p["p_turn"] + p["separation"], p["tilt"]
        c["h_turn"], c["h_pitch"] = 0.7 * c["t_turn"], 0.5 * c["t_pitch"] - 10.0
        middle = 0.5 * (plan.stance.front + plan.stance.rear)
        c["px"], c["py"] = np.full_like(t, middle[0]), np.full_like(t, middle[1])
        if intent.height is not None:
            c["pz"] = 0.97 * intent.height
        self.paths, self.channels = p, c
        self.pelvis = turn_roll_pitch(c["p_turn"], c["p_roll"], c["p_pitch"])
        self.line = _reference(plan)
        self._aimed = False
        self.watches = True  # the ball; else the head goes with the chest

    def settle(self) -> Body:
        """One round: legs, then balance, trunk and gaze corrected; the body before correction."""
        c, p, intent, plan = self.channels, self.paths, self.intent, self.plan
        self._legs()
        body = pose(self.skeleton, c)
        com = f.centre_of_mass(f.segment_ends(body.points), self.skeleton.gender)
        if intent.height is not None:
            c["pz"] = c["pz"] + (intent.height - com[:, 2]) / _FOLLOWS
        wanted = intent.place if intent.place is not None else _place(body, plan, p, self.line)
        miss = (wanted - com[:, :2]) / _FOLLOWS
        c["px"], c["py"] = c["px"] + miss[:, 0], c["py"] + miss[:, 1]
        left, right = body.points["L_shoulder"], body.points["R_shoulder"]
        turn, tilt = f.line_turn(right, left), f.line_tilt(right, left)
        c["t_turn"] = c["t_turn"] + f.wrap180(p["p_turn"] + p["separation"] - turn)
        c["t_roll"] = c["t_roll"] + p["tilt"] - tilt
        if not self._aimed:
            _aim_racket(plan, c, body, self.rng)
            self._aimed = True
        if self.watches:
            _look(plan, c, body)
        return body

    def finish(self) -> GridMotion:
        """The movement after the rounds that are left."""
        for _ in range(_ROUNDS - 1):
            self.settle()
        _sway(self.plan, self.channels, self.rng)
        self._legs()
        values = np.stack([self.channels[name] for name in CHANNELS], axis=1)
        return GridMotion(self.skeleton, self.plan.grid, values)

    def _legs(self) -> None:
        p = self.paths
        knees = None if self.intent.height is not None else (p["front_knee"], p["rear_knee"])
        solve_legs(self.skeleton, self.channels, self.feet, self.pelvis, knees)


def _reference(plan: Plan) -> Array:
    """Unit vector rear -> front of the feet at set-up."""
    line = plan.stance.front - plan.stance.rear
    return np.asarray(line / np.linalg.norm(line))


def _place(body: Body, plan: Plan, p: dict[str, Array], line: Array) -> Array:
    """Where the centre of mass has to be for share and balance; over the front foot while the rear
    foot swings.
    """
    front, rear = body.points["L_ankle"][:, :2], body.points["R_ankle"][:, :2]
    stance = plan.stance
    if stance.rear_off is not None:
        t = plan.grid
        away = step(t, stance.rear_off - 0.25, stance.rear_off)[:, None]
        here = step(t, stance.rear_on - 0.3, stance.rear_on + 0.1)[:, None]
        span = 0.35 * line
        rear = rear + away * (1 - here) * (front - span - rear)
    normal = np.array([-line[1], line[0]])
    share = (1.0 - p["share"])[:, None]
    return np.asarray(rear + share * (front - rear) + p["balance"][:, None] * normal)


def _aim_racket(plan: Plan, c: dict[str, Array], body: Body, rng: np.random.Generator) -> None:
    """Turn the racket in the hand so that it stands up at contact, leaning a little (drawn)."""
    if plan.kind == "hold":
        return
    t, contact = plan.grid, plan.times["contact"]
    lean, side = np.radians([rng.uniform(-6, 28), rng.uniform(-18, 26)])
    axis = np.array([np.tan(lean), np.tan(side), 1.0])
    axis /= np.linalg.norm(axis)
    i = int(np.argmin(np.abs(t - contact)))
    forearm = -body.frames["R_forearm"][i][:, 2]
    bend = body.frames["R_forearm"][i][:, 0]
    across = cross(forearm[None], bend[None])[0]
    tilt = np.degrees(np.arccos(np.clip(axis @ forearm, -1, 1)))
    around = np.degrees(np.arctan2(axis @ across, axis @ bend))
    tilt = float(np.clip(tilt, 2.0, 75.0))
    width = 0.11 if plan.kind != "shadow" else 0.3
    near = step(t, contact - width, contact) * (1 - step(t, contact, contact + 1.5 * width))
    c["r_tilt"] = c["r_tilt"] + near * (tilt - c["r_tilt"])
    turn = float(f.wrap180(np.asarray(around - c["r_around"][i])))
    c["r_around"] = c["r_around"] + near * (c["r_around"][i] + turn - c["r_around"])


def _look(plan: Plan, c: dict[str, Array], body: Body) -> None:
    """Head towards the ball: in the tossing hand, on its flight, where it is struck; then ahead."""
    t, times = plan.grid, plan.times
    now = np.minimum(t, times["load"]) if plan.kind == "hold" else t
    eye = body.points["skull"]
    held = body.points["L_hand"]
    meet = body.points["R_hand"][int(np.argmin(np.abs(t - times["contact"])))]
    meet = meet + np.array([0.1, 0.0, 0.45])
    leave = held[int(np.argmin(np.abs(t - times["release"])))]
    gone = np.clip(now - times["release"], 0.0, times["contact"] - times["release"])
    left = times["contact"] - times["release"] - gone
    flight = leave + (gone / (gone + left))[:, None] * (meet - leave)
    flight[:, 2] += 0.5 * GRAVITY * gone * left
    after = step(t, times["contact"], times["contact"] + 0.35)[:, None]
    ahead = eye + np.array([10.0, 1.0, -1.2])
    early = (1 - step(t, times["start"], times["release"] - 0.1))[:, None]
    ball = np.where((t < times["release"])[:, None], held, flight)
    goal = ball + (early * 0.6) * (ahead - ball)
    goal = goal + after * (ahead - goal)
    d = goal - eye
    turn = np.degrees(np.arctan2(-d[:, 1], d[:, 0]))
    pitch = -np.degrees(np.arctan2(d[:, 2], np.hypot(d[:, 0], d[:, 1])))
    turn = c["t_turn"] + soft_limit(f.wrap180(turn - c["t_turn"]), -_HEAD_TURN, _HEAD_TURN)
    pitch = c["t_pitch"] + soft_limit(pitch - c["t_pitch"], *_HEAD_PITCH)
    c["h_turn"] = gaussian_filter1d(turn, 0.07 * RATE, mode="nearest")
    c["h_pitch"] = gaussian_filter1d(soft_limit(pitch, -64.0, 60.0), 0.07 * RATE, mode="nearest")


#: unrest of a standing body: channel -> standard deviation, metres and degrees (working values)
_SWAY = {"px": 0.002, "py": 0.002, "t_pitch": 0.4, "t_turn": 0.4, "h_turn": 1.0, "t_el": 0.5}
_SWAY |= {"h_el": 0.5, "h_flex": 0.6}


def _sway(plan: Plan, c: dict[str, Array], rng: np.random.Generator) -> None:
    scale = np.array(list(_SWAY.values())) * rng.uniform(0.4, 1.6)
    for name, path in zip(_SWAY, wander(rng, plan.grid, scale, 0.2, 1.2), strict=True):
        c[name] = c[name] + path
