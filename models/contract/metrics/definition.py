"""What a definition of a metric says."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from models.contract.metrics.truth import Truth
from models.contract.metrics.units import Unit
from models.contract.vocabulary import EventName, RepetitionKind

SERVES = frozenset({RepetitionKind.SERVE, RepetitionKind.SHADOW})
SWINGS = SERVES | {RepetitionKind.THROW}
LOADED = SERVES | {RepetitionKind.HOLD}
HOLDS = frozenset({RepetitionKind.HOLD})
THROWS = frozenset({RepetitionKind.THROW})


class BodyPart(StrEnum):
    """Part of the body, or of the serve, that a metric tells of."""

    BALL_AND_CONTACT = "ball_and_contact"
    TIMING = "timing"
    ARMS = "arms"
    LEGS_AND_WEIGHT = "legs_and_weight"
    PELVIS_AND_TRUNK = "pelvis_and_trunk"


class Need(StrEnum):
    """What the film must give for a metric to mean anything."""

    FEET = "feet"
    """Both feet in the picture at the event."""
    STATURE = "stature"
    """Metres: the player's height (given, or assumed with a wide margin)."""
    TARGET = "target"
    """The direction of the target, known better than from the stance alone."""
    FAST = "fast"
    """A frame rate that resolves fast arm movement."""
    BALL = "ball"
    """The struck ball followed in the picture: what the ball itself allows decides, no table."""


class Mark(StrEnum):
    """A mark in pictures and films."""

    SHOULDERS = "shoulders"
    HIPS = "hips"
    KNEES = "knees"
    BALANCE = "balance"
    GOAL = "goal"
    """Where the rules want a value to be."""


class LiveReading(StrEnum):
    """What a film shows at every frame."""

    FLEXION = "flexion"
    """180 deg less the angle at the middle of three joints."""
    ELEVATION = "elevation"
    """Of the second of two joints over the first, from the horizontal."""
    TURN = "turn"
    """Of the line from the second to the first of two joints about the vertical, since set-up."""
    SHARE = "share"
    """Of the centre of mass on the floor line between the middles of the feet."""


@dataclass(frozen=True, slots=True)
class Live:
    """How a metric is read off the body at every frame of a film, in its unit."""

    reading: LiveReading
    joints: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Drawn:
    """Where a metric is seen in pictures and films.

    Attributes
    ----------
    mark : Mark or None
        The mark it belongs to; its colour stands beside the number.
    at_feet : bool
        It splits the line between the feet, and stands there.
    live : Live or None
        Films show it at every frame.
    """

    mark: Mark | None = None
    at_feet: bool = False
    live: Live | None = None


@dataclass(frozen=True, slots=True)
class UsualRange:
    """A published or usual range of the values; ``high`` None = no upper limit."""

    low: float
    high: float | None


@dataclass(frozen=True, slots=True)
class StandingWords:
    """What is said of a value below, inside or above the usual range, and where that comes from.

    An empty sentence: nothing is said of such a value.
    """

    source: str
    inside: str
    below: str = ""
    above: str = ""


@dataclass(frozen=True, slots=True)
class MetricWording:
    """The words of a metric in one language.

    Attributes
    ----------
    term : str
        What the field calls it, for documents and tables.
    title : str
        What a player is told.
    about : str
        One plain sentence on it, or nothing.
    standing : mapping of EventName to StandingWords
        One for each event with a usual range.
    """

    term: str
    title: str
    about: str = ""
    standing: Mapping[EventName, StandingWords] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Taken:
    """One instant at which a metric is taken; ``event`` None = over the whole repetition.

    Attributes
    ----------
    kinds : frozenset of RepetitionKind
        Work it applies to.
    uses : tuple of EventName
        Further events without which it is not measurable.
    parts : tuple of str
        Names (``key@event``) of the values it is counted from: not measurable where one of them
        is not.
    reference : str or None
        Published value with its source, or the trade's rule marked as such.
    usual : UsualRange or None
        The range that findings hold a value against; the source stands with its words.
    truth : Truth or None
        Where its true value stands in the truth of a rendered film.
    no_truth, no_calibration : str or None
        Why it has none; stated where, and only where, it has none.
    """

    event: EventName | None = None
    kinds: frozenset[RepetitionKind] = SERVES
    uses: tuple[EventName, ...] = ()
    parts: tuple[str, ...] = ()
    reference: str | None = None
    usual: UsualRange | None = None
    truth: Truth | None = None
    no_truth: str | None = None
    no_calibration: str | None = None


@dataclass(frozen=True, slots=True)
class MetricDefinition:
    """Everything about a metric but its formula.

    Attributes
    ----------
    key : str
        Stable name.
    unit : Unit
    part : BodyPart
    wording : mapping of str to MetricWording
        By language tag.
    greater : str
        What a greater value means; what the sign means where there is one.
    taken : tuple of Taken
        The instants at which it is taken, each at most once.
    variant_of : str or None
        Key of the metric of the same movement that this is another reading of: one movement is
        one finding.
    needs : frozenset of Need
    min_fps : float
        Frame rate below which it is not measurable.
    tolerance : float or None
        Largest mean absolute error (on calibration films) with which the value is still worth
        reporting; a view with more is not measurable. None = always reported.
    widest : float or None
        Largest standard uncertainty with which a single value is still worth reporting. None =
        always reported, with its interval.
    lowest, highest : float or None
        Bounds of the quantity, at which the interval ends.
    aim : float or None
        Largest mean absolute error aimed at from the side at 60 frames per second: the project's
        own. For comparison, single-camera knee flexion in published work is off by about 7
        degrees from the side.
    rank : int or None
        Place among those that are shown first: in pictures, findings and the accuracy report.
    percent : bool
        A ratio that is read as a percentage.
    yes_no : bool
        1 or 0: its mean is a share, and normal intervals do not hold for it.
    headline : bool
        Among the few values that a webhook carries.
    drawn : Drawn
    """

    key: str
    unit: Unit
    part: BodyPart
    wording: Mapping[str, MetricWording]
    greater: str
    taken: tuple[Taken, ...]
    variant_of: str | None = None
    needs: frozenset[Need] = frozenset()
    min_fps: float = 0.0
    tolerance: float | None = None
    widest: float | None = None
    lowest: float | None = None
    highest: float | None = None
    aim: float | None = None
    rank: int | None = None
    percent: bool = False
    yes_no: bool = False
    headline: bool = False
    drawn: Drawn = Drawn()

    @property
    def events(self) -> tuple[EventName, ...]:
        """The events it is taken at; none where it is of the whole serve."""
        return tuple(taken.event for taken in self.taken if taken.event is not None)

    @property
    def movement(self) -> str:
        """Key of the movement it is a reading of."""
        return self.variant_of or self.key

    @property
    def term(self) -> str:
        """What the field calls it, in English: the title in documents."""
        return self.wording["en"].term


def metric_name(key: str, event: EventName | None) -> str:
    """Return key and event in one word: ``elbow_flexion@contact``."""
    return key if event is None else f"{key}@{event.value}"
