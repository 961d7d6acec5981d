"""The catalogue of metrics is complete and well formed."""

from __future__ import annotations

import re

import pytest

from models.contract.vocabulary import EventName, RepetitionKind
from workers.engine.metrics.registry import REGISTRY, metrics_for
from workers.engine.metrics.spec import MetricSpec

# the keys of the design's metric table
REQUIRED = {
    "rear_foot_load_share@loading",
    "rear_foot_load_share_dynamic@loading",
    "rear_hip_drop@loading",
    "rear_hip_setback@loading",
    "front_hip_advance@loading",
    "pelvis_turn@loading",
    "shoulder_turn@loading",
    "knee_turn@loading",
    "pelvis_turn_peak",
    "pelvis_turn_absolute@loading",
    "turn_to_bend_ratio@loading",
    "hip_shoulder_separation@trophy",
    "hip_shoulder_separation_peak",
    "shoulder_line_tilt@trophy",
    "shoulder_line_tilt@contact",
    "shoulder_over_shoulder",
    "front_knee_flexion@trophy",
    "rear_knee_flexion@trophy",
    "front_knee_extension_speed",
    "rear_knee_extension_speed",
    "trunk_inclination@trophy",
    "trunk_inclination@contact",
    "trunk_lateral_tilt@trophy",
    "trunk_lateral_tilt@contact",
    "elbow_flexion@trophy",
    "elbow_flexion@contact",
    "shoulder_elevation@trophy",
    "shoulder_elevation@contact",
    "contact_height_ratio@contact",
    "contact_forward@contact",
    "leg_drive_speed",
    "sequence_pelvis",
    "sequence_trunk",
    "sequence_upper_arm",
    "sequence_forearm",
    "sequence_proximal_to_distal",
    "wrist_speed_peak",
    "tempo",
    "tempo_set_up_release",
    "tempo_release_trophy",
    "tempo_trophy_contact",
    "toss_release_height@release",
    "tossing_arm_elevation@trophy",
    "throw_elevation@contact",
}


def test_every_metric_of_the_design_is_there() -> None:
    assert {spec.name for spec in REGISTRY} >= REQUIRED


@pytest.mark.parametrize("spec", REGISTRY, ids=lambda spec: spec.name)
def test_a_metric_is_documented(spec: MetricSpec) -> None:
    assert re.fullmatch(r"[a-z][a-z0-9_]*", spec.key)
    assert spec.unit in {"deg", "s", "ms", "m", "m/s", "deg/s", "1"}
    assert len(spec.definition) > 25
    assert spec.title
    assert spec.kinds
    reference = spec.taken.reference
    if reference is not None:
        # a published value names where it stands; a rule of the trade says that it has no source
        assert re.search(r"\d{4}|no source|unverified", reference)


def test_names_are_unique() -> None:
    names = [spec.name for spec in REGISTRY]
    assert len(names) == len(set(names))


def test_kinds_of_work_get_their_own_metrics() -> None:
    holds = {spec.key for spec in metrics_for(RepetitionKind.HOLD)}
    throws = {spec.key for spec in metrics_for(RepetitionKind.THROW)}
    serves = {spec.key for spec in metrics_for(RepetitionKind.SERVE)}
    assert "hold_duration" in holds
    assert "hold_duration" not in serves
    assert "throw_elevation" in throws
    assert "throw_elevation" not in serves
    assert "contact_height_ratio" in throws & serves
    assert all(EventName.CONTACT not in spec.events for spec in metrics_for(RepetitionKind.HOLD))
