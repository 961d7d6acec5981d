"""Every defined metric has all that belongs to it, and nothing stands beside the definitions."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from models.contract.metric_names import RENAMED
from models.contract.metrics.catalogue import CATALOGUE, Catalogue
from models.contract.metrics.definition import Live, LiveReading, Mark, metric_name
from models.contract.metrics.truth import TruthDifference, TruthPath
from models.contract.metrics.units import UNITS, Unit
from models.contract.skeleton import CANONICAL_BODY
from models.contract.vocabulary import EventName, RepetitionKind
from models.training.load_truth import add_load_truth
from models.training.rendered.camera import CameraSpec, make_camera
from models.training.rendered.knobs import ServeKnobs
from models.training.rendered.performance import perform
from models.training.rendered.skeleton import sample_skeleton
from models.training.rendered.truth import clip_truth
from models.words import LANGUAGES, catalogue
from workers.cli.metrics_page import FILE, page
from workers.engine.calibration import Calibration
from workers.engine.metrics.registry import REGISTRY, bind
from workers.engine.metrics.spec import AtEvent
from workers.engine.truth import read_truth
from workers.learned import load
from workers.report.findings import BANDS
from workers.report.marks import LINE

KNOWN = load().learned.calibration
PROJECT = Path(__file__).resolve().parents[2]
INSTANTS = {metric_name(one.key, taken.event): (one, taken) for one, taken in CATALOGUE.instants()}
UNREAD = {
    # Of the serve as a whole, for the filmed set's own statistics.
    *("contact_forward.from_set_up", "rear_foot_load_share.loading", "tempo.trophy_to_contact"),
    *("tempo.set_up_to_release", "tempo.release_to_trophy", "sequence.upper_arm_peak_deg_s"),
    "sequence.forearm_peak_deg_s",
    # Read from the block of their event, where they stand as well.
    *("shoulder_line_tilt.trophy", "shoulder_line_tilt.contact", "front_knee_flexion.trophy"),
    *("rear_knee_flexion.trophy", "hip_shoulder_separation.trophy", "trunk_inclination.trophy"),
    *("trunk_inclination.contact", "elbow_flexion.trophy", "elbow_flexion.contact"),
    *("shoulder_elevation.trophy", "shoulder_elevation.contact", "contact_height_ratio.contact"),
    *("pelvis_turn.loading", "shoulder_turn.loading", "knee_turn.loading"),
    "shoulder_over_shoulder.contact",
    # Between the ankles, as the weight was counted before.
    *("rear_foot_load_share.dynamic", "rear_foot_load_share.foot_centres"),
    *("rear_foot_load_share.peak", "most_loaded_before_contact.whole", "rear_load_time_60.whole"),
    *("hold_rear_foot_load_share.whole", "hold_rear_load_time_60.whole"),
}
"""Numbers of the truth that no metric is held against, by their place in ``measures``."""


def truth_of(kind: str) -> dict[str, Any]:
    """The truth of an invented performance, as it is written today."""
    skeleton = sample_skeleton(np.random.default_rng(2))
    performance = perform(kind, skeleton, ServeKnobs())
    times = np.arange(int(performance.duration * 30)) / 30
    camera = make_camera(
        CameraSpec(azimuth=90.0), np.array([-0.4, -0.75, 0.9]), False, (640, 480), len(times)
    )
    return add_load_truth(clip_truth(performance, camera, times, 30))


def test_every_metric_has_a_formula_and_every_formula_a_metric() -> None:
    assert {spec.name for spec in REGISTRY} == set(INSTANTS)
    formulas = {spec.key: AtEvent(lambda event: REGISTRY[0].compute) for spec in REGISTRY}
    with pytest.raises(ValueError, match=r"only one of definition and formula.*elbow_flexion"):
        bind(CATALOGUE, {key: one for key, one in formulas.items() if key != "elbow_flexion"})
    with pytest.raises(ValueError, match=r"only one of definition and formula.*invented"):
        bind(CATALOGUE, formulas | {"invented": REGISTRY[0].compute})
    with pytest.raises(ValueError, match="elbow_flexion must be one for each event"):
        bind(CATALOGUE, formulas | {"elbow_flexion": REGISTRY[0].compute})


def test_nothing_is_defined_twice_and_variants_are_of_a_metric() -> None:
    first = CATALOGUE["pelvis_turn"]
    with pytest.raises(ValueError, match=r"defined twice.*pelvis_turn"):
        Catalogue((first, first))
    with pytest.raises(ValueError, match=r"defined twice.*pelvis_turn@loading"):
        Catalogue((replace(first, taken=first.taken * 2),))
    with pytest.raises(ValueError, match=r"not defined.*pelvis_turn_peak"):
        Catalogue((CATALOGUE["pelvis_turn_peak"],))


@pytest.mark.parametrize("name", INSTANTS)
def test_truth_and_calibration_are_there_or_the_reason_is_stated(name: str) -> None:
    _, taken = INSTANTS[name]
    assert (taken.truth is None) == bool(taken.no_truth)
    calibrated = any(metric == name for metric, *_ in KNOWN.metrics)
    assert calibrated != bool(taken.no_calibration), (
        "state why it has no calibration, or that it has none no longer"
    )
    if isinstance(taken.truth, TruthDifference):
        assert {taken.truth.whole, taken.truth.less} <= set(INSTANTS)


@pytest.mark.parametrize("kind", [RepetitionKind.SERVE, RepetitionKind.HOLD, RepetitionKind.THROW])
def test_the_truth_written_today_holds_every_metric(kind: RepetitionKind) -> None:
    (repetition,) = read_truth(truth_of(kind.value)).repetitions
    assert repetition.kind is kind
    wanted = {name for name, (_, taken) in INSTANTS.items() if kind in taken.kinds and taken.truth}
    assert wanted <= set(repetition.metrics)


def test_every_number_of_the_truth_is_read_or_known_to_be_unread() -> None:
    written = {
        f"{key}.{place}"
        for kind in ("serve", "hold", "throw")
        for block in (truth_of(kind)["serves"], truth_of(kind)["other_repetitions"])
        for repetition in block
        for key, values in repetition["measures"].items()
        for place in values
    }
    read = {
        taken.truth.path.removeprefix("measures.")
        for _, taken in INSTANTS.values()
        if isinstance(taken.truth, TruthPath) and taken.truth.path.startswith("measures.")
    }
    assert read <= written
    assert written - read == UNREAD


def test_no_row_of_a_table_is_of_another_metric() -> None:
    # Tables of earlier days may hold what another metric stands for now; nothing reads those rows.
    renamed = {name for name in _names(KNOWN) if name.partition("@")[0] in RENAMED}
    assert _names(KNOWN) - renamed <= set(INSTANTS)


def _names(known: Calibration) -> set[str]:
    # rows of other work than serves begin with its kind
    rows = {name for name, *_ in known.metrics} | {name for name, _ in known.shares}
    return {name.rpartition(":")[2] for name in rows}


@pytest.mark.parametrize("key", CATALOGUE.keys)
def test_every_metric_has_words_in_every_language(key: str) -> None:
    metric = CATALOGUE[key]
    assert set(metric.wording) == set(LANGUAGES)
    usual = {taken.event for taken in metric.taken if taken.usual is not None}
    for words in metric.wording.values():
        assert words.term
        assert words.title
        assert set(words.standing) == usual
    assert len({bool(words.about) for words in metric.wording.values()}) == 1
    for event in usual:
        said = [words.standing[event] for words in metric.wording.values() if event]
        assert len({(bool(s.below), bool(s.above)) for s in said}) == 1
        assert all(s.inside and s.source for s in said)


@pytest.mark.parametrize("language", LANGUAGES)
def test_no_words_are_of_another_metric(language: str) -> None:
    words = catalogue(language)
    assert set(words.find("metric")) == set(CATALOGUE.keys)
    for metric in CATALOGUE:
        mine, told = metric.wording[language], words.find(f"metric.{metric.key}")
        assert (told["term"], told["title"]) == (mine.term, mine.title)
        assert told.get("about", "") == mine.about
    said = {
        metric_name(key, EventName(event))
        for key, events in words.find("finding").items()
        if isinstance(events, dict)
        for event in events
    }
    assert said == {metric_name(band.key, band.event) for band in BANDS}


def test_marks_and_live_angles_are_those_that_can_be_drawn() -> None:
    assert set(LINE) == {*Mark, "own"}  # the coach's own lines belong to no metric
    for metric in CATALOGUE:
        live = metric.drawn.live
        if isinstance(live, Live):
            share = live.reading is LiveReading.SHARE
            assert metric.unit is (Unit.RATIO if share else Unit.DEGREE)
            assert set(live.joints) <= set(CANONICAL_BODY)
    assert [metric.key for metric in CATALOGUE if metric.drawn.at_feet] == ["rear_foot_load_share"]


def test_every_unit_is_written_in_every_language() -> None:
    assert set(UNITS) == set(Unit)
    for language in LANGUAGES:
        assert set(Unit) <= set(catalogue(language).find("number"))


def test_the_page_is_current_and_the_readme_leads_to_it() -> None:
    assert FILE.read_text("utf-8") == page(REGISTRY), (
        "run: python -m workers.cli.metrics_page --write"
    )
    link = FILE.relative_to(PROJECT).as_posix()
    assert f"({link})" in (PROJECT / "README.md").read_text("utf-8")


DEFINITION = """
from models.contract.metrics.definition import BodyPart, Drawn, Mark, MetricDefinition
from models.contract.metrics.definition import MetricWording, Taken
from models.contract.metrics.units import Unit
from models.contract.vocabulary import EventName

DEFINITIONS = (
    MetricDefinition(
        key="nose_height",
        unit=Unit.METRE,
        part=BodyPart.BALL_AND_CONTACT,
        greater="higher",
        taken=(Taken(EventName.CONTACT, no_truth="invented", no_calibration="invented"),),
        rank=1,
        headline=True,
        drawn=Drawn(Mark.HIPS),
        wording={
            "en": MetricWording("Nose height", "Nose up"),
            "de": MetricWording("Nasenhöhe", "Nase oben"),
        },
    ),
)
"""
FORMULA = '''
from models.contract.vocabulary import EventName


def nose_height(body):
    """Height of the nose over the floor at contact, m."""
    return body.pose(EventName.CONTACT).joint("nose")[..., 2] - body.floor_z


FORMULAS = {"nose_height": nose_height}
'''
PROOF = """
import sys
import models.contract.metrics.families as definitions, workers.engine.metrics as formulas
definitions.__path__.append(sys.argv[1]); formulas.__path__.append(sys.argv[2])

from pydantic import TypeAdapter
from models.contract.metric_names import KnownKey, KnownName
from models.contract.metrics.catalogue import CATALOGUE
from models.words import catalogue
from workers.cli.metrics_page import page
from workers.engine.calibration import Calibration
from workers.engine.metrics.registry import REGISTRY, metrics_for
from models.contract.vocabulary import RepetitionKind

assert "nose_height" in TypeAdapter(KnownKey).json_schema()["enum"]
assert "nose_height@contact" in TypeAdapter(KnownName).json_schema()["enum"]
assert CATALOGUE.part("nose_height") == "ball_and_contact"
assert CATALOGUE.drawn("nose_height").mark == "hips"
assert CATALOGUE.headline("nose_height")
assert CATALOGUE.ranked()[0].key == "nose_height"
assert "nose_height@contact" in [spec.name for spec in metrics_for(RepetitionKind.SERVE)]
text = page(REGISTRY)
assert "| `nose_height@contact` | invented invented |" in text
assert "| `nose_height` | Nose height | Height of the nose over the floor at contact, m. |" in text
assert "| `nose_height@contact` | serve, shadow |" in text
"""


def test_a_new_metric_is_two_files(tmp_path: Path) -> None:
    """Two files beside the shipped ones, and the metric is known everywhere."""
    for folder, text in (("definitions", DEFINITION), ("formulas", FORMULA)):
        (tmp_path / folder).mkdir()
        (tmp_path / folder / "faces.py").write_text(text, "utf-8")
    done = subprocess.run(
        [sys.executable, "-c", PROOF, tmp_path / "definitions", tmp_path / "formulas"],
        cwd=PROJECT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
