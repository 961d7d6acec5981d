"""The joints document gives back the body it was made from."""

from __future__ import annotations

import numpy as np

from models.contract.joints import Joints
from tests.unit.report.conftest import load


def test_body_and_camera_come_back() -> None:
    case = load("left_front_quarter")
    document = Joints.of(case.track, (None, case.body))
    text = document.model_dump_json(by_alias=True)
    none, body = Joints.model_validate_json(text).motions(2)
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
