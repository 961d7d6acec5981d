"""Measuring stored joints again gives what the film gave, and says what the film showed."""

from __future__ import annotations

import pytest

from models.contract.analysis import ModelUse
from models.contract.clip import UsabilityCheck
from models.contract.errors import ClipDamaged, NoServeFound
from models.contract.problem import Problem
from models.contract.tracks import JointTrack
from models.contract.vocabulary import Severity, Stage
from models.training.guard import frozen
from tests.unit.report.conftest import load
from workers.engine.interface import EngineRequest
from workers.learned import load as load_engine
from workers.pipeline.again import run_again
from workers.pipeline.run import empty_track, merge
from workers.video.usability import CHECKS, usability_checks

REQUEST = EngineRequest(stature_m=1.83)
ENGINE = load_engine()
NETWORK = ModelUse(name="some_network", sha256="ab" * 32)


@pytest.fixture(scope="module")
def film_gave() -> tuple[object, JointTrack]:
    """Return an analysis as the pipeline made it, and its track as it was stored."""
    case = load("right_side")
    damaged = Problem.of(ClipDamaged(), severity=Severity.WARNING, stage=Stage.DECODE.value)
    blurred = UsabilityCheck(
        key="sharpness", passed=False, severity=Severity.WARNING, detail="Hold it still."
    )
    track = frozen.load("012")
    found = ENGINE.analyse(track, REQUEST)
    made = merge(
        case.analysis.clip,
        [damaged],
        [blurred],
        found,
        REQUEST,
        (NETWORK, *ENGINE.models),
        ENGINE.identity,
    )
    return made, JointTrack.from_npz(track.to_npz())


def test_the_same_engine_gives_the_same_document(film_gave: tuple[object, JointTrack]) -> None:
    earlier, track = film_gave
    again = run_again(earlier, track, REQUEST, ENGINE)  # type: ignore[arg-type]
    assert again.analysis == earlier
    assert again.analysis.repetitions
    assert {"clip_damaged"} <= {problem.code for problem in again.analysis.problems}
    assert "sharpness" in {check.key for check in again.analysis.usability.checks}
    assert again.pictures == {}
    assert again.film is None


def test_what_the_engine_said_before_is_not_taken_over(
    film_gave: tuple[object, JointTrack],
) -> None:
    earlier, track = film_gave
    stale = earlier.model_copy(  # type: ignore[attr-defined]
        update={
            "problems": (Problem.of(NoServeFound(), stage=Stage.SERVE.value),),
            "repetitions": (),
        }
    )
    again = run_again(stale, track, REQUEST, ENGINE).analysis
    assert again.repetitions
    assert "no_serve_found" not in {problem.code for problem in again.problems}


def test_nobody_in_the_film_is_nobody_again() -> None:
    case = load("right_side")
    track = empty_track(case.analysis.clip)
    again = run_again(case.analysis, track, REQUEST, ENGINE).analysis
    assert again.repetitions == ()
    assert "no_person" in {problem.code for problem in again.problems}


def test_keys_of_the_film_checks_are_listed() -> None:
    facts = load("right_side").analysis.clip
    assert {check.key for check in usability_checks(facts, [])} <= CHECKS


def test_the_result_names_the_networks_of_the_joints_and_the_engine_of_now(
    film_gave: tuple[object, JointTrack],
) -> None:
    earlier, track = film_gave
    old = tuple(ModelUse(name=one.name, sha256="0" * 64) for one in ENGINE.models)
    before = earlier.model_copy(  # type: ignore[attr-defined]
        update={"models": (NETWORK, *old), "engine_identity": "0" * 64}
    )
    again = run_again(before, track, REQUEST, ENGINE).analysis
    assert again.models == (NETWORK, *ENGINE.models)
    assert again.engine_identity == ENGINE.identity
