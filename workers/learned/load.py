"""The learned data of this process, opened once; forked jobs inherit it from their parent."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

from models import registry
from models.contract.analysis import ModelUse
from models.contract.tracks import JointTrack
from workers.engine.engine import analyse
from workers.engine.first_look import Glance, glance
from workers.engine.interface import EngineRequest, EngineResult
from workers.engine.learned import Learned
from workers.engine.several import analyse_pair
from workers.learned.identity import code_digest, engine_identity
from workers.learned.network import lift_network
from workers.learned.tables import calibration, event_errors, landmark_errors


@dataclass(frozen=True, slots=True)
class LoadedEngine:
    """The engine with what it has learned.

    Attributes
    ----------
    learned : Learned
    models : tuple of ModelUse
        The learned files in use.
    identity : str
        Digest over code and learned data, for a result.
    """

    learned: Learned
    models: tuple[ModelUse, ...]
    identity: str

    def analyse(self, track: JointTrack, request: EngineRequest) -> EngineResult:
        """Measure everything in a clip from its landmarks (`workers.engine.engine.analyse`)."""
        return analyse(track, request, self.learned)

    def analyse_pair(
        self, one: JointTrack, two: JointTrack, request: EngineRequest
    ) -> EngineResult:
        """Measure a serve that two films show (`workers.engine.several.analyse_pair`)."""
        return analyse_pair(one, two, request, self.learned)

    def glance(
        self, track: JointTrack, stretches: Sequence[tuple[float, float]], request: EngineRequest
    ) -> Glance:
        """Judge a clip at a first look (`workers.engine.first_look.glance`)."""
        return glance(track, stretches, request, self.learned)


@cache
def load() -> LoadedEngine:
    """Return the engine of this installation.

    Raises
    ------
    ModelFileDamaged
        If a learned file is missing or not the recorded one.
    """
    files = {record.name: registry.load_learned(record.name) for record in registry.learned()}
    learned = Learned(
        lift=lift_network(files["lift"]),
        calibration=calibration(files["calibration"], files["repeat_shares"]),
        landmarks=landmark_errors(files["landmark_errors"]),
        event_errors=event_errors(files["event_errors"]),
    )
    models = tuple(
        ModelUse(name=record.name, sha256=record.sha256, licence=record.licence, role="learned")
        for record in registry.learned()
    )
    identity = engine_identity(code_digest(), {m.name: m.sha256 for m in models})
    return LoadedEngine(learned, models, identity)
