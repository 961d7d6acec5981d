"""The main job: a film of a serve goes in through HTTP, measured mechanics come out."""

from __future__ import annotations

import gzip
import json
import sys
from pathlib import Path

import cv2
import numpy as np
import pytest

from models.contract.joints import Joints
from models.contract.resources import Events, Metrics
from models.contract.tracks import JointTrack
from models.contract.vocabulary import EventName
from tests.end_to_end.conftest import Service
from tests.films import RENDERED

pytestmark = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="reads /proc")

ORDER = (
    EventName.SET_UP,
    EventName.RELEASE,
    EventName.TROPHY,
    EventName.RACKET_LOW,
    EventName.CONTACT,
    EventName.FINISH,
)


def test_rendered_serve_is_measured(service: Service, tmp_path: Path) -> None:
    state = service.analyse(RENDERED / "001.mp4", height_m=1.83)
    result = service.result(state)
    client = service.client
    assert [r.kind for r in result.repetitions] == ["serve"]
    serve = result.repetitions[0]
    times = [serve.events[name].time_s for name in ORDER]
    assert times == sorted(times)
    with gzip.open(RENDERED / "001.json.gz") as file:
        truth = json.load(file)
    # The renderer knows the instant exactly; two frames of 30 a second are allowed.
    contact = truth["serves"][0]["event_times_s"]["contact"]
    assert serve.events[EventName.CONTACT].time_s == pytest.approx(contact, abs=2 / 30)
    assert any(metric.measurable for metric in serve.metrics)

    metrics = Metrics.model_validate(client.get(state["links"]["metrics"]).json())
    events = Events.model_validate(client.get(state["links"]["events"]).json())
    joints = Joints.model_validate(client.get(state["links"]["joints"]).json())
    track = JointTrack.from_npz(client.get(state["links"]["joints.npz"]).content)
    assert metrics == Metrics.of(result)
    assert events == Events.of(result)
    assert joints.frame == tuple(track.frame_index.tolist())
    near = (track.time_s >= serve.start_s - 0.4) & (track.time_s <= serve.end_s)
    assert (np.diff(track.frame_index[near]) == 1).all()  # every frame of the serve
    plain = [link for link in state["pictures"] if "-plain" in link]  # the ones without numbers
    assert (len(plain), len(state["pictures"])) == (3, 6)
    for link in state["pictures"]:
        picture = cv2.imdecode(np.frombuffer(client.get(link).content, np.uint8), cv2.IMREAD_COLOR)
        assert picture is not None
        assert min(picture.shape[:2]) > 200
