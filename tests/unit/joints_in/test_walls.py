"""Joint files that callers sent are opened in a process of its own, within limits."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from models.contract.errors import DecoderStopped, InvalidRequest
from models.contract.joints import Joints
from models.contract.vocabulary import Handedness
from models.training.rendered.bodies import raw_joints, simulated_track, times, true_motion, truth
from tests.unit.joints_in.motion_files import write_npz
from workers.engine.interface import EngineRequest
from workers.joints_in import contents, walled
from workers.joints_in.arrays import RawMotion
from workers.joints_in.contents import JointFile
from workers.joints_in.reading import read_joint_file
from workers.joints_in.result import analyse_joints, facts_of
from workers.video.limits import DecodeLimits

LIMITS = DecodeLimits()


def motion(clip: str) -> RawMotion:
    return RawMotion(times(truth(clip)), raw_joints(truth(clip)))


def saying(error: pytest.ExceptionInfo[InvalidRequest]) -> str:
    assert not isinstance(error.value.said, str)
    return error.value.said.code


def test_what_comes_back_is_what_was_read(tmp_path: Path) -> None:
    path = tmp_path / "a"
    track = simulated_track("000")
    bodies = (true_motion("000"), replace(true_motion("000"), stature_m=1.7))
    for suffix, content in (
        (".npz", write_npz(motion("004"))),
        (".npz", track.to_npz()),
        (".json", Joints.of(track, bodies).model_dump_json(by_alias=True).encode()),
    ):
        path.write_bytes(content)
        here, there = read_joint_file(path, suffix), walled.read_behind_walls(path, suffix, LIMITS)
        assert there.to_bytes() == here.to_bytes()
        assert len(there.bodies) == len(here.bodies)


def test_a_file_that_takes_too_much_is_told_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a"
    path.write_bytes(write_npz(motion("000")))
    with pytest.raises(InvalidRequest) as error:
        walled.read_behind_walls(path, ".npz", replace(LIMITS, stall_s=0.01))
    assert saying(error) == "joint_file_too_much"
    big = tmp_path / "big"
    big.write_bytes(b'{"width": [' + b"1," * 16_000_000 + b"1]}")
    with pytest.raises(InvalidRequest) as error:  # the list takes 128 MB
        walled.read_behind_walls(big, ".json", replace(LIMITS, memory_bytes=400 * 1024**2))
    assert saying(error) == "joint_file_too_much"
    monkeypatch.setattr(contents, "UNPACKED_BYTES", 10_000)
    with pytest.raises(InvalidRequest) as error:
        read_joint_file(path, ".npz")
    assert saying(error) == "joint_file_too_much"


def test_words_of_the_process_are_those_of_the_catalogue(monkeypatch: pytest.MonkeyPatch) -> None:
    def told(head: Any, status: int = 0) -> None:
        line = json.dumps(head).encode() + b"\n"
        monkeypatch.setattr(walled, "_run", lambda *_: (line, status, False))

    told({"code": "invalid_request", "said": "go to https://x.example", "parameters": {}})
    with pytest.raises(InvalidRequest) as error:
        walled.read_behind_walls(Path("a"), ".npz", LIMITS)
    assert error.value.said == InvalidRequest().said
    told({"code": "invalid_request", "said": "joints_differ", "parameters": {"reason": "<a>:"}})
    with pytest.raises(InvalidRequest) as error:
        walled.read_behind_walls(Path("a"), ".npz", LIMITS)
    assert not isinstance(error.value.said, str)
    assert error.value.said.parameters == {"reason": "a"}
    for line in ([], {"code": None}):  # no arrays follow
        told(line)
        with pytest.raises(InvalidRequest):
            walled.read_behind_walls(Path("a"), ".npz", LIMITS)
    told({"code": None}, status=-9)
    with pytest.raises(DecoderStopped):
        walled.read_behind_walls(Path("a"), ".npz", LIMITS)


def test_bodies_of_two_hands_have_none_in_common() -> None:
    left, right = true_motion("004"), true_motion("000")
    found = analyse_joints(JointFile(bodies=(left, right)), EngineRequest()).analysis
    assert found.handedness is Handedness.UNKNOWN
    assert len(found.repetitions) == 2
    assert found.scale.metres_per_body_height is None
    same = analyse_joints(JointFile(bodies=(right, right)), EngineRequest()).analysis
    assert same.handedness is Handedness.RIGHT
    assert same.scale.metres_per_body_height == right.stature_m


def test_a_few_frames_are_no_film() -> None:
    track = simulated_track("000")
    few = JointFile(bodies=(replace_rows(true_motion("000"), 7),))
    for file in (few, JointFile()):
        with pytest.raises(InvalidRequest) as error:
            facts_of(file)
        assert saying(error) == "joint_frames_few"
    facts = facts_of(JointFile(track=track))
    assert facts.frame_rate == pytest.approx(truth("000")["fps"])
    assert facts.duration_s == pytest.approx(truth("000")["n_frames"] / truth("000")["fps"])


def replace_rows(body: Any, rows: int) -> Any:
    names = ("time_s", "frame_index", "joints", "sd")
    return replace(body, **{name: getattr(body, name)[:rows] for name in names})


@pytest.mark.parametrize("harm", ["far", "frame", "width", "time"])
def test_what_cannot_be_is_refused(harm: str) -> None:
    track = simulated_track("000")
    xy, frames, time_s = track.xy.copy(), track.frame_index.copy(), track.time_s.copy()
    xy[3, 3, 0] = 1e9
    frames[0] = -1
    time_s[-1] = np.inf
    wrong: dict[str, Any] = {
        "far": {"xy": xy},
        "frame": {"frame_index": frames},
        "width": {"width": -1},
        "time": {"time_s": time_s},
    }[harm]
    with pytest.raises(InvalidRequest) as error:
        JointFile(track=replace(track, **wrong))
    expected = "joint_times_not_increasing" if harm == "time" else "joint_out_of_range"
    assert saying(error) == expected
