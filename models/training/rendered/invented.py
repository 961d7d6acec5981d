"""Invented players on whom decisions are judged: who loads how, coils or squats, and what stays.

One place says which player is what; the drawn players of `models.training.decisions` and the films
of the profile ``decided`` are the same 24. These are values asked for: what is true of a movement
is measured on its joints.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from .knobs import ServeKnobs

LOADS = (0.30, 0.45, 0.60, 0.75)
"""Shares of the weight over the rear foot, by posture, at the loaded instant of the baseline."""
COIL_DEG, SQUAT_DEG = 24.0, 2.0
"""Turn of the pelvis from set-up to the loaded instant: a coil, and a squat."""
GAIN = 0.15
"""What practice adds to the share."""
RELAPSED = 0.05
"""Share of the gain that is left after a relapse; all of it stays where it is kept."""
HELD = (0.45, 0.55, 0.60, 0.65)
"""Shares held in the drill's clip."""
HOLD_S = 4.0
"""How long each is held, seconds."""

Course = Literal["kept", "relapse", "no_gain"]
COURSES: tuple[Course, ...] = ("kept", "relapse", "no_gain")
LEFT: dict[Course, float] = {"kept": 1.0, "relapse": RELAPSED, "no_gain": 0.0}
PLAYERS = 2 * len(LOADS) * len(COURSES)
"""Every load, coil and squat, kept, relapsed and without a gain."""


@dataclass(frozen=True)
class Invented:
    """What is asked of one player.

    Attributes
    ----------
    load, held : float
        Share of the weight over the rear foot: at the loaded instant of the baseline, and in the
        static hold.
    coils : bool
        Else the player squats.
    course : Course
        What practice does to the load, and whether it stays.
    """

    number: int
    load: float
    coils: bool
    course: Course
    held: float

    @property
    def loads(self) -> tuple[float, float, float]:
        """Shares asked for in the baseline, after practice and later."""
        gain = 0.0 if self.course == "no_gain" else GAIN
        return self.load, self.load + gain, self.load + LEFT[self.course] * gain

    def technique(self, knobs: ServeKnobs) -> ServeKnobs:
        """Return drawn knobs with the load and the turn of the player's baseline."""
        turn = knobs.setup_turn + (COIL_DEG if self.coils else SQUAT_DEG)
        return knobs.changed(
            rear_share=self.load,
            pelvis_turn=turn,
            knee_turn=4.0 if self.coils else 0.0,
            foot_up=0.0,
        )


def invented(number: int) -> Invented:
    """Return the player of a number, from 0 to `PLAYERS` - 1."""
    load, rest = divmod(number, 2 * len(COURSES))
    squats, course = divmod(rest, len(COURSES))
    return Invented(number, LOADS[load], not squats, COURSES[course], HELD[number % len(HELD)])
