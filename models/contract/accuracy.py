"""How far off measured values are, over a set of clips whose truth is known."""

from __future__ import annotations

from pydantic import Field

from models.contract.analysis import ModelUse
from models.contract.base import Document, Finite, Share
from models.contract.vocabulary import EventName, View


class ClipSet(Document):
    """What was measured, and how."""

    about: str = Field(description="Where the clips come from: generator, seed, profile.")
    command: str = Field(description="The command that measured them.")
    heights_given: bool = Field(description="Whether the engine was told each player's height.")
    frame_rates: dict[str, int] = Field(description="Frames per second to number of clips.")
    failed: dict[str, str] = Field(
        default_factory=dict, description="Films that were not analysed, with the error code."
    )


class ViewAccuracy(Document):
    """Whole-clip answers from one camera position (``all`` = every position)."""

    view: str
    clips: int
    serves: int = Field(description="True number of serves.")
    count_exact: Share = Field(description="Clips with the right number of serves.")
    kinds_exact: Share = Field(description="Clips with the right kinds of work, in order.")
    handedness_exact: Share | None
    view_class: Share | None
    azimuth_mae_deg: Finite | None


class EventAccuracy(Document):
    """Measured minus true time of one event."""

    event: EventName
    view: str
    count: int
    found: Share
    bias_ms: Finite | None
    mae_ms: Finite | None
    p95_ms: Finite | None
    mae_frames: Finite | None
    within_one_frame: Share | None


class MetricAccuracy(Document):
    """Measured minus true value of one metric, in its unit."""

    name: str = Field(description="Key, and event if it has one: ``elbow_flexion@contact``.")
    title: str
    unit: str
    view: str
    count: int = Field(description="Repetitions in which the true value is known.")
    bias: Finite | None
    mae: Finite | None
    p95: Finite | None
    coverage: Share | None = Field(description="Intervals that hold the truth; nominal 0.95.")
    measurable: Share
    guess_mae: Finite | None = Field(
        description="Mean absolute error of always answering the mean true value of the whole set: "
        "what to be better than. None for a single value."
    )

    @property
    def key(self) -> str:
        """The metric key alone."""
        return self.name.partition("@")[0]

    @property
    def measured(self) -> int:
        """Repetitions in which a value was given."""
        return round(self.measurable * self.count)

    @property
    def covered(self) -> int | None:
        """Given values whose interval holds the truth."""
        return None if self.coverage is None else round(self.coverage * self.measured)


class Accuracy(Document):
    """The accuracy of one engine with its pose networks over one set of clips."""

    clip_set: ClipSet
    engine_version: str
    models: tuple[ModelUse, ...]
    engine_s_per_serve: Finite | None
    views: tuple[ViewAccuracy, ...]
    events: tuple[EventAccuracy, ...]
    metrics: tuple[MetricAccuracy, ...]

    def views_seen(self) -> tuple[View, ...]:
        """Return the camera positions in the set, in the order of the vocabulary."""
        seen = {row.view for row in self.views}
        return tuple(view for view in View if view.value in seen)
