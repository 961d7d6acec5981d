"""What goes into the metrics engine and what comes out."""

from __future__ import annotations

from dataclasses import dataclass, field

from models.contract.analysis import Repetition, Scale, ViewEstimate
from models.contract.clip import UsabilityCheck
from models.contract.problem import Problem
from models.contract.tracks import BodyMotion
from models.contract.views import SecondView
from models.contract.vocabulary import Handedness, RepetitionKind, Sex, View

ENGINE_VERSION = "0.1.0"


@dataclass(frozen=True, slots=True)
class EngineRequest:
    """What the caller knows; everything may be left to be estimated.

    Attributes
    ----------
    stature_m : float or None
        Standing height, metres. None = assume the population mean and widen metric scale.
    handedness, view, sex :
        ``UNKNOWN`` = estimate (sex: average of the two body-segment tables).
    azimuth_deg : float or None
        Camera azimuth about the server when known (0 = from the net, 90 = facing the chest).
    capture_fps : float or None
        Rate the camera recorded at, when the caller stated it: times are then already real.
    seed : int
        Seed of the Monte Carlo propagation.
    calibrated : bool
        False = every value by every method, as measured: nothing corrected, nothing withheld for
        the view, intervals as propagated. Calibration starts from there.
    drill : RepetitionKind or None
        What the caller says the swings in the clip are (``throw``, ``shadow``, ``serve``). From
        joints alone an upward throw with a raised tossing arm looks like a serve.
    """

    stature_m: float | None = None
    handedness: Handedness = Handedness.UNKNOWN
    view: View = View.UNKNOWN
    azimuth_deg: float | None = None
    sex: Sex = Sex.UNKNOWN
    capture_fps: float | None = None
    seed: int = 0
    calibrated: bool = True
    drill: RepetitionKind | None = None


@dataclass(frozen=True, slots=True)
class EngineResult:
    """Measured repetitions of one clip, and what limits them.

    ``bodies[i]`` is the fitted motion of ``repetitions[i]``, or None when none could be
    fitted. ``second`` says how another film of the serve was put beside this one.
    """

    view: ViewEstimate
    handedness: Handedness
    handedness_source: str
    scale: Scale
    repetitions: tuple[Repetition, ...] = ()
    bodies: tuple[BodyMotion | None, ...] = ()
    checks: tuple[UsabilityCheck, ...] = ()
    problems: tuple[Problem, ...] = field(default_factory=tuple)
    second: SecondView | None = None
