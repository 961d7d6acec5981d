"""The joints document gives back the body it was made from, and that of the earlier version."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from jsonschema import Draft202012Validator
from pydantic import ValidationError

from models.contract.joints import Joints, read_joints
from models.contract.schemas import rendered
from models.contract.skeleton import CANONICAL_BODY, LANDMARKS
from tests.unit.report.conftest import load

V1 = Path(__file__).parents[3] / "data" / "joints" / "v1.json"


def v1() -> dict[str, Any]:
    document: dict[str, Any] = json.loads(V1.read_text("utf-8"))
    return document


def test_body_and_camera_come_back() -> None:
    case = load("left_front_quarter")
    document = Joints.of(case.track, (None, case.body))
    text = document.model_dump_json(by_alias=True)
    none, body = read_joints(text).motions(2)
    assert none is None
    assert body is not None
    np.testing.assert_allclose(body.joints, case.body.joints, atol=1e-4)
    np.testing.assert_array_equal(body.frame_index, case.body.frame_index)
    assert (body.mirrored, body.method) == (True, "kinematic_fit")
    assert body.camera is not None
    assert case.body.camera is not None
    point = case.body.joints[40]
    np.testing.assert_allclose(
        body.camera.project(point), case.body.camera.project(point), atol=1e-6
    )


def test_the_document_states_its_version_and_names_joints_by_role() -> None:
    case = load("left_front_quarter")
    document = json.loads(Joints.of(case.track, (case.body,)).model_dump_json(by_alias=True))
    assert document["schema"].endswith("/joints.v2.json")
    assert document["names"] == list(LANDMARKS)
    assert document["bodies"][0]["names"] == list(CANONICAL_BODY)
    Draft202012Validator(json.loads(rendered("joints.v2.json"))).validate(document)


def test_a_stored_document_of_version_1_is_read_as_one_of_now() -> None:
    # v1 called the joints of a body, already mirrored, by the sides of a right-hander.
    stored, document = v1(), read_joints(V1.read_bytes())
    assert document.schema_id.endswith("/joints.v2.json")
    assert document.names == tuple(stored["names"])
    (body,) = document.motions(1)
    assert body is not None
    assert body.mirrored
    named = dict(zip(stored["bodies"][0]["names"], body.joints.swapaxes(0, 1), strict=True))
    for role, name in (
        ("hitting_wrist", "right_wrist"),
        ("tossing_shoulder", "left_shoulder"),
        ("rear_knee", "right_knee"),
        ("front_toe", "left_toe"),
        ("nose", "nose"),
    ):
        np.testing.assert_array_equal(body.joint(role), named[name])
    np.testing.assert_allclose(body.joints, np.array(stored["bodies"][0]["xyz_m"]), rtol=0, atol=0)
    case = load("left_front_quarter")
    rows = np.isin(case.body.frame_index, body.frame_index)
    for joint in CANONICAL_BODY:
        np.testing.assert_allclose(body.joint(joint), case.body.joint(joint)[rows], atol=1e-4)


def test_the_schema_of_version_1_is_served_as_it_was() -> None:
    schema = rendered("joints.v1.json")
    Draft202012Validator(json.loads(schema)).validate(v1())
    assert hashlib.sha256(schema.encode()).hexdigest() == (
        "182e17473a30babf9f2d1849603edc4d1fc24a090164863c09b6f33d6922d9c2"
    )


def test_a_document_without_a_version_is_one_of_version_1() -> None:
    stored = v1()
    del stored["schema"]
    assert read_joints(json.dumps(stored)) == read_joints(V1.read_bytes())


def _named_by_side(document: dict[str, Any]) -> None:
    document["schema"] = document["schema"].replace("v1", "v2")


def _of_the_future(document: dict[str, Any]) -> None:
    document["schema"] = document["schema"].replace("v1", "v3")


def _unordered(document: dict[str, Any]) -> None:
    document["bodies"][0]["names"].reverse()


def _unordered_landmarks(document: dict[str, Any]) -> None:
    document["names"].reverse()


@pytest.mark.parametrize(
    "spoil", [_named_by_side, _of_the_future, _unordered, _unordered_landmarks]
)
def test_names_that_are_not_those_of_the_version_are_refused(spoil) -> None:
    document = v1()
    spoil(document)
    with pytest.raises(ValidationError):
        read_joints(json.dumps(document))


def test_what_is_no_document_is_refused() -> None:
    for text in ("not json", "[]", '{"bodies": 3}', '{"bodies": [4]}'):
        with pytest.raises(ValueError):
            read_joints(text)
