"""Joints of another pose system or of a laboratory, sent over HTTP and measured."""

from __future__ import annotations

import hashlib
import io
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import httpx
import numpy as np
import pytest

from models.contract.skeleton import ANATOMICAL_BODY
from models.contract.vocabulary import EventName
from models.training.rendered.bodies import raw_joints, simulated_track, times, truth
from service.api.app import create_app
from service.core.principal import Scope
from service.core.queue import attempt_at
from service.core.settings import Settings
from service.core.wiring import Wiring
from tests.integration.api.coaching import made, new_player, new_session
from tests.integration.api.conftest import TestClient, assert_problem, film
from tests.unit.joints_in.motion_files import write_c3d, write_npz
from workers.engine.interface import EngineRequest
from workers.jobs import entry
from workers.joints_in.arrays import RawMotion
from workers.joints_in.measure import measure_file

DOCUMENT = Path(__file__).parents[2] / "data" / "joints" / "v1.json"
NPZ = {"content-type": "application/zip"}


def motion(clip: str) -> bytes:
    """Return the true joints of a committed rendered serve as an npz file."""
    return write_npz(RawMotion(times(truth(clip)), raw_joints(truth(clip))))


def sent(client: httpx.Client, content: bytes, **options: Any) -> dict[str, Any]:
    """Send a file with these options; return the analysis that was started."""
    files = {"file": ("joints", content, "application/octet-stream")}
    return made(client.post("/v1/joints", files=files, data={"options": json.dumps(options)}))


def measured(client: httpx.Client, wired: Wiring, analysis: dict[str, Any]) -> dict[str, Any]:
    """Do the work; return the analysis as it stands then."""
    entry.work(wired, attempt_at(analysis["id"], 1))
    return dict(client.get(analysis["links"]["self"]).json())


def test_a_motion_gives_what_the_command_gives(
    client: httpx.Client, wired: Wiring, tmp_path: Path
) -> None:
    content = motion("004")
    asked = sent(client, content, height_m=1.75)
    assert (asked["status"], asked["options"]["height_m"]) == ("queued", 1.75)
    body = measured(client, wired, asked)
    assert body["status"] == "completed", body["problem"]
    assert body["pictures"] == []
    result = client.get(body["links"]["result"]).json()
    path = tmp_path / "motion.npz"
    path.write_bytes(content)
    [direct] = measure_file(path, EngineRequest(stature_m=1.75))
    assert result["handedness"] == direct.handedness == "left"
    [repetition] = direct.repetitions
    assert result["repetitions"] == [repetition.model_dump(mode="json")]
    assert EventName.CONTACT in repetition.events
    # the clock of the truth: so many frames at so many a second
    document = truth("004")
    assert result["clip"]["frame_rate"] == pytest.approx(document["fps"])
    assert result["clip"]["frames"] == document["n_frames"]
    assert result["clip"]["sha256"] == hashlib.sha256(content).hexdigest()
    clip = client.get(body["links"]["clip"]).json()
    assert clip["media_type"] == "application/zip"
    assert client.get(clip["links"]["content"]).content == content
    report = client.get(body["links"]["report.html"]).text
    assert "joints recorded 30 times a second" in report
    assert "filmed" not in report.partition("</header>")[0]
    assert client.get(body["links"]["joints"]).json()["bodies"][0]["method"] == "joints_in"


@pytest.mark.parametrize("form", ["landmarks", "document"])
def test_landmarks_and_documents_are_taken(client: httpx.Client, wired: Wiring, form: str) -> None:
    content = DOCUMENT.read_bytes() if form == "document" else simulated_track("000").to_npz()
    kind = "application/json" if form == "document" else "application/octet-stream"
    reply = client.post("/v1/joints", content=content, headers={"content-type": kind})
    body = measured(client, wired, made(reply))
    assert body["status"] == "completed", body["problem"]
    result = client.get(body["links"]["result"]).json()
    assert (result["clip"]["width"], result["clip"]["height"]) == (1280, 720)
    assert len(result["repetitions"]) == (form == "landmarks")  # the document has 8 frames
    arrays = np.load(io.BytesIO(client.get(body["links"]["joints.npz"]).content))
    assert len(arrays["time_s"]) == result["clip"]["frames"]


def test_markers_of_a_laboratory_make_joints(
    client: httpx.Client, wired: Wiring, tmp_path: Path
) -> None:
    path = tmp_path / "markers.c3d"
    names = [f"M{number}" for number in range(len(ANATOMICAL_BODY))]
    raw = RawMotion(times(truth("004")), raw_joints(truth("004")))
    write_c3d(path, raw, truth("004")["fps"], names)
    content = path.read_bytes()
    named = {joint: [names[number]] for number, joint in enumerate(ANATOMICAL_BODY)}
    body = measured(client, wired, sent(client, content, joints={"markers": named}))
    assert body["status"] == "completed", body["problem"]
    assert client.get(body["links"]["result"]).json()["handedness"] == "left"
    unnamed = measured(client, wired, sent(client, content))
    assert unnamed["problem"]["detail_code"] == "joints_missing"


@pytest.mark.parametrize(
    ("content", "code"),
    [
        (b"PK\x03\x04" + b"x" * 300, "joint_file_unreadable"),
        (motion("000")[:4000], "joint_file_unreadable"),
        (b"{}", "joint_document_form"),
        (b'{"width": ', "joint_file_no_json"),
        (b"\x02P" + bytes(600), "c3d_unreadable"),
    ],
)
def test_a_file_that_cannot_be_used_ends_the_analysis_with_what_is_wrong(
    client: httpx.Client, wired: Wiring, content: bytes, code: str
) -> None:
    body = measured(client, wired, sent(client, content))
    assert body["status"] == "failed"
    assert (body["problem"]["code"], body["problem"]["detail_code"]) == ("invalid_request", code)


def test_joints_beyond_all_bounds_are_refused(client: httpx.Client, wired: Wiring) -> None:
    joints = raw_joints(truth("000")).copy()
    joints[5, 3, 0] = np.inf
    body = measured(client, wired, sent(client, write_npz(RawMotion(times(truth("000")), joints))))
    assert body["problem"]["detail_code"] == "joint_out_of_range"


def test_what_is_no_joint_file_is_refused_at_once(client: httpx.Client, wired: Wiring) -> None:
    for content in (b"", b"words", b"[1, 2]"):
        files = {"file": ("a", content, "application/json")}
        problem = assert_problem(client.post("/v1/joints", files=files), 422, "invalid_request")
        assert problem["detail_code"] == "joint_file_expected"
    video = {"content-type": "video/mp4"}
    assert_problem(
        client.post("/v1/joints", content=b"{}", headers=video), 415, "unsupported_media_type"
    )
    data = {"options": '{"capture_fps": 240}'}
    problem = assert_problem(
        client.post("/v1/joints", files={"file": ("a", b"{}")}, data=data), 422, "invalid_request"
    )
    assert problem["errors"][0]["pointer"] == "/options/capture_fps"
    for options in ("{", '{"joints": {"target": {"x": 0, "y": 0}}}'):
        reply = client.post("/v1/joints", files={"file": ("a", b"{}")}, data={"options": options})
        assert assert_problem(reply, 422, "invalid_request")["detail_code"] == "joint_options_form"
    wrong = {"sha256": "0" * 64}
    assert_problem(
        client.post("/v1/joints?sha256=" + "0" * 64, content=b"{}", headers=NPZ),
        422,
        "digest_mismatch",
    )
    assert_problem(
        client.post("/v1/joints", files={"file": ("a", b"{}")}, data=wrong), 422, "digest_mismatch"
    )
    assert list(wired.objects.list()) == []
    assert client.get("/v1/clips").json()["items"] == []


def test_a_film_takes_no_options_of_joints(client: httpx.Client, clip_id: str) -> None:
    options = {"joints": {"target": {"x": 1, "y": 0}}}
    link = {"label": "club", "consent": {"text": "yes", "version": "1"}, "analyse": options}
    assert_problem(client.post("/v1/intake-links", json=link), 422, "invalid_request")
    form = {"analyse": json.dumps(options)}
    reply = client.post("/v1/clips", files={"file": ("a.mp4", film(b"b"))}, data=form)
    assert assert_problem(reply, 422, "invalid_request")["detail_code"] == "analyse_form"
    reply = client.post("/v1/analyses", json={"clip_id": clip_id, "options": options})
    assert assert_problem(reply, 422, "invalid_request")["detail_code"] == "options_of_joints"


def test_too_large_is_refused_by_length_and_by_count(settings: Settings) -> None:
    app = create_app(settings.model_copy(update={"max_joints_bytes": 100_000}))
    with TestClient(app, raise_server_exceptions=False) as client:
        wired: Wiring = app.state.wiring
        client.headers["authorization"] = f"Bearer {wired.keys.add('test')}"
        for size in (100_001, 200_000):
            body = b"{" + b" " * (size - 1)
            assert_problem(
                client.post("/v1/joints", content=body, headers=NPZ), 413, "payload_too_large"
            )
        assert list(wired.objects.list()) == []
        made(client.post("/v1/joints", content=b"{" + b" " * 99_999, headers=NPZ))


def test_a_key_makes_it_once(client: httpx.Client, wired: Wiring) -> None:
    key = {"idempotency-key": "k", **NPZ}
    first = client.post("/v1/joints", content=motion("000"), headers=key)
    again = client.post("/v1/joints", content=motion("000"), headers=key)
    assert first.json()["id"] == again.json()["id"]
    assert again.headers["idempotency-replayed"] == "true"
    other = client.post("/v1/joints?external_ref=x", content=motion("000"), headers=key)
    assert_problem(other, 422, "idempotency_conflict")
    beside = made(client.post("/v1/joints", content=motion("000"), headers=NPZ))
    assert beside["id"] != first.json()["id"]  # without a key: the same clip, another analysis
    assert beside["clip_id"] == first.json()["clip_id"]
    assert len(list(wired.objects.list())) == 1


def test_it_counts_as_a_film_does(client: httpx.Client, wired: Wiring) -> None:
    content = motion("000")
    sent(client, content)
    [month] = client.get("/v1/organisations/main/usage").json()["months"]
    assert (month["films"], month["bytes"]) == (1, len(content))


def test_others_see_nothing_of_it(
    client: httpx.Client, wired: Wiring, as_key: Callable[..., dict[str, str]]
) -> None:
    session = new_session(client, new_player(client), "baseline", 1)
    other = as_key(Scope.ADMIN, tenant="other")
    foreign = {"file": ("a", motion("000"))}, {"session_id": session}
    reply = client.post("/v1/joints", files=foreign[0], data=foreign[1], headers=other)
    assert_problem(reply, 404, "not_found")
    assert list(wired.objects.list()) == []
    analysis = sent(client, motion("000"))
    theirs = made(client.post("/v1/joints", content=motion("000"), headers={**NPZ, **other}))
    assert theirs["clip_id"] != analysis["clip_id"]  # the same file: a clip of their own
    for address in (analysis["links"]["self"], f"/v1/clips/{analysis['clip_id']}/content"):
        assert client.get(address, headers=other).status_code == 404
    reader = as_key(Scope.CLIPS_READ, Scope.RESULTS_READ)
    reply = client.post("/v1/joints", files={"file": ("a", motion("000"))}, headers=reader)
    assert_problem(reply, 403, "forbidden")


def test_it_goes_with_its_player(client: httpx.Client, wired: Wiring) -> None:
    player = new_player(client, height_m=1.62)
    session = new_session(client, player, "baseline", 1)
    files = {"file": ("a", motion("000"))}
    reply = client.post("/v1/joints", files=files, data={"session_id": session})
    body = measured(client, wired, made(reply))
    assert body["status"] == "completed", body["problem"]
    assert body["options"]["height_m"] == 1.62
    assert client.delete(f"/v1/players/{player}").status_code == 202
    assert client.get(body["links"]["self"]).status_code == 404
    assert client.get(f"/v1/clips/{body['clip_id']}").status_code == 404
    assert list(wired.objects.list()) == []


def test_two_of_them_are_compared_and_one_is_made_again(
    client: httpx.Client, wired: Wiring
) -> None:
    ends = [measured(client, wired, sent(client, motion(clip))) for clip in ("000", "003")]
    first, second = ({"label": one["id"][-4:], "analyses": [one["id"]]} for one in ends)
    asked = made(client.post("/v1/comparisons", json={"first": first, "second": second}))
    body = measured(client, wired, asked)
    assert body["status"] == "completed", body["problem"]
    result = client.get(body["links"]["result"]).json()
    assert any(row["difference"] is not None for row in result["differences"])
    assert "films_not_at_hand" in {one["code"] for one in result["notes"]}
    again = made(client.post(f"/v1/analyses/{ends[0]['id']}/again"))
    once_more = measured(client, wired, again)
    assert once_more["status"] == "completed", once_more["problem"]
    results = [client.get(one["links"]["metrics"]).json() for one in (ends[0], once_more)]
    assert results[0] == results[1]
