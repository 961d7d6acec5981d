"""Films: what is shown when, that numbers are right, and that a browser plays them."""

from __future__ import annotations

import base64
import io
from dataclasses import replace
from itertools import pairwise

import av
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.contract.vocabulary import EventName
from tests.unit.report.browser import Browser, chromium
from workers.report.annotated_film import annotated_film
from workers.report.encoder import film
from workers.report.instants import stops_of
from workers.report.live import known_readings, readings
from workers.report.matching import Side
from workers.report.pace import Pace, nearest, showings
from workers.report.pair_film import pair_film, shared_events, warped

QUICK = Pace(rate=8, slow=0.5, around_s=0.1, still_s=0.25)


def _frames(case, size=(90, 160)):
    """Plain frames that tell their index by their grey."""
    for index in case.track.frame_index:
        yield int(index), np.full((*size, 3), int(index) % 200 + 20, np.uint8)


def _small(case):
    """The case with its pixels scaled to 160 x 90."""
    scale = 160 / case.track.width
    camera = case.body.camera
    shrink = np.diag([scale, scale, 1.0])
    return replace(
        case,
        track=replace(case.track, xy=case.track.xy * scale, width=160, height=90),
        body=replace(case.body, camera=replace(camera, K=shrink @ camera.K)),
    )


def _opened(data):
    with av.open(io.BytesIO(data)) as container:
        stream = container.streams.video[0]
        frames = [frame.to_ndarray(format="rgb24") for frame in container.decode(video=0)]
        return stream.codec_context.name, stream.pix_fmt, float(stream.average_rate), frames


def _boxes(data):
    """Names of the top-level boxes of an MP4 file (ISO/IEC 14496-12)."""
    names, at = [], 0
    while at + 8 <= len(data):
        size = int.from_bytes(data[at : at + 4], "big")
        names.append(data[at + 4 : at + 8].decode("ascii"))
        at += size if size > 1 else int.from_bytes(data[at + 8 : at + 16], "big")
    return names


@pytest.fixture(scope="module")
def made(right_side):
    case = _small(right_side)
    return annotated_film(
        _frames(case), case.analysis, case.track, [case.body], [case.centre_of_mass],
        width=240, pace=QUICK,
    )  # fmt: skip


def test_the_film_is_h264_yuv420p_with_its_index_in_front(made):
    codec, pixels, rate, frames = _opened(made)
    assert (codec, pixels, rate) == ("h264", "yuv420p", 8.0)
    assert all(side % 2 == 0 for side in frames[0].shape[:2])
    names = _boxes(made)
    assert names.index("moov") < names.index("mdat")


def test_the_film_has_the_planned_number_of_frames(made, right_side):
    repetition = right_side.analysis.repetitions[0]
    stops = [stop.time_s for stop in stops_of(repetition)]
    plan = showings(repetition.start_s - 0.4, repetition.end_s + 0.4, stops, QUICK)
    assert len(_opened(made)[3]) == len(plan)


def test_a_film_stands_still_at_the_loaded_instant_and_at_contact(right_side):
    one = right_side.analysis.repetitions[0]
    assert [stop.events for stop in stops_of(one)] == [
        (EventName.LOADING, EventName.TROPHY),
        (EventName.CONTACT,),
    ]
    bare = {EventName.TROPHY: one.events[EventName.TROPHY]}
    only = one.model_copy(update={"events": bare})
    assert [stop.events for stop in stops_of(only)] == [(EventName.TROPHY,)]


def _shown(case, **changes):
    """The live numbers of the case, with some of its metrics changed."""
    one = case.analysis.repetitions[0]
    metrics = tuple(
        m.model_copy(update=changes.get(m.key, {})) if m.event is EventName.LOADING else m
        for m in one.metrics
    )
    changed = one.model_copy(update={"metrics": metrics})
    found = known_readings(case.body, changed, case.centre_of_mass)
    return {reading.key: reading for reading in found}


def _wide(case, key, half):
    metrics = case.analysis.repetitions[0].metrics
    value = next(m.value for m in metrics if m.key == key and m.event is EventName.LOADING)
    return {"low": value - half, "high": value + half}


def test_weight_and_coil_run_live_and_agree_with_the_rendered_body(right_side):
    wide = {k: _wide(right_side, k, h) for k, h in (("rear_foot_load_share", 0.2),
                                                   ("pelvis_turn", 40.0))}  # fmt: skip
    found = _shown(right_side, **wide)
    events = right_side.analysis.repetitions[0].events
    loaded = events[EventName.LOADING].frame
    turn = found["pelvis_turn"].value
    # Truth: the clip's own absolute turns, at two instants that lie between frames.
    truth = right_side.truth["serves"][0]["metrics"]
    between = truth["lowest_pelvis"]["pelvis_turn"] - truth["release"]["pelvis_turn"]
    assert turn[loaded] - turn[events[EventName.RELEASE].frame] == pytest.approx(between, abs=0.4)
    assert turn[events[EventName.SET_UP].frame] == 0.0
    share = found["rear_foot_load_share"]
    figure = _side(right_side, "A").figure(loaded)
    assert share.value[loaded] == pytest.approx(figure.balance.share, abs=1e-6)
    # Never surer than the number measured: 95 % half-widths of 0.2 and 40.
    assert np.nanmin(share.sd) >= 0.2 / 1.96 - 1e-3


def test_what_is_not_known_is_hidden(right_side):
    keys = ("rear_foot_load_share", "pelvis_turn")
    wide = {k: _wide(right_side, k, h) for k, h in zip(keys, (0.2, 40.0), strict=True)}
    assert set(keys) <= set(_shown(right_side, **wide))
    none = {"value": None, "low": None, "high": None, "measurable": False, "reason": "hidden feet"}
    assert "rear_foot_load_share" not in _shown(right_side, **(wide | {keys[0]: none}))
    # A body that contradicts the number measured at the same instant is not read.
    far = {"value": 0.95, "low": 0.94, "high": 0.96}
    assert "rear_foot_load_share" not in _shown(right_side, **(wide | {keys[0]: far}))
    # Joints less certain by far than the number: no value is shown.
    blurred = replace(
        right_side, body=replace(right_side.body, sd=np.full(right_side.body.sd.shape, 5.0))
    )
    assert np.isnan(_shown(blurred, **wide)["pelvis_turn"].value).all()


def test_a_film_without_repetitions_or_frames_is_refused(right_side):
    case = _small(right_side)
    empty = case.analysis.model_copy(update={"repetitions": ()})
    with pytest.raises(ValueError, match="no repetition"):
        annotated_film(_frames(case), empty, case.track)
    with pytest.raises(ValueError, match="none of the frames"):
        annotated_film([], case.analysis, case.track)


@given(
    st.lists(st.floats(0.3, 2.7), max_size=5),
    st.floats(0.1, 1.0),
    st.sampled_from([10, 25, 30]),
)
def test_clip_times_never_run_back_and_every_event_gets_its_still(events, slow, rate):
    events = sorted(events)
    pace = Pace(rate=rate, slow=slow, still_s=0.5)
    plan = showings(0.0, 3.0, events, pace)
    times = [moment.time_s for moment in plan]
    assert all(b >= a for a, b in pairwise(times))
    for i, event in enumerate(events):
        stills = [m for m in plan if m.event == i]
        assert len(stills) == round(0.5 * rate)
        assert all(m.time_s == event for m in stills)


def test_without_events_a_film_runs_in_real_time():
    assert len(showings(0.0, 2.0, [], Pace(rate=30))) == 61


def test_slow_motion_takes_as_long_as_its_speed_says():
    pace = Pace(rate=100, slow=0.25, around_s=0.2, still_s=0.0)
    # 2 s in all, of which 0.4 s at a quarter of the speed: 1.6 + 1.6 s.
    assert len(showings(0.0, 2.0, [1.0], pace)) / 100 == pytest.approx(3.2, abs=0.05)


def test_an_event_outside_or_an_empty_part_is_refused():
    with pytest.raises(ValueError, match="outside"):
        showings(0.0, 1.0, [2.0])
    with pytest.raises(ValueError, match="empty"):
        showings(1.0, 1.0, [])


def test_nearest_takes_the_closest_time():
    times = np.array([0.0, 0.1, 0.25, 0.3])
    assert nearest(times, np.array([-1, 0.04, 0.06, 0.2, 0.29, 9])) == [0, 0, 1, 2, 3, 3]
    assert nearest(np.array([0.5]), np.array([0.0, 1.0])) == [0, 0]


# Truth: the metrics of the rendered clip, frame by frame (formulas in the clip's own file).
@pytest.mark.parametrize(
    ("key", "truth"),
    [
        ("front_knee_flexion", "front_knee_flexion"),
        ("rear_knee_flexion", "rear_knee_flexion"),
        ("elbow_flexion", "hitting_elbow_flexion"),
        ("shoulder_line_tilt", "shoulder_tilt"),
    ],
)
@pytest.mark.parametrize("name", ["right_side", "left_front_quarter"])
def test_live_numbers_are_the_truth_of_the_rendered_body(request, name, key, truth):
    case = request.getfixturevalue(name)
    found = {reading.key: reading for reading in readings(case.body)}[key]
    # The file's joints are rounded to 0.1 mm, its angles to 0.001 deg.
    assert found.value == pytest.approx(case.per_frame[truth], abs=0.1)


def test_the_spread_of_a_live_number_follows_from_that_of_the_joints(right_side):
    # Monte Carlo over the joint coordinates is the referee.
    body = right_side.body
    rng = np.random.default_rng(1)
    one = replace(
        body,
        time_s=np.arange(2000.0),
        frame_index=np.arange(2000),
        joints=body.joints[102] + rng.normal(0, 0.01, (2000, 21, 3)),
        sd=np.full((2000, 21, 3), 0.01),
    )
    exact = replace(
        body, time_s=body.time_s[102:103], frame_index=body.frame_index[102:103],
        joints=body.joints[102:103], sd=np.full((1, 21, 3), 0.01),
    )  # fmt: skip
    spread = {r.key: float(np.std(r.value)) for r in readings(one)}
    assert len(spread) == 4  # without a centre of mass and a set-up, no weight and no turn
    for reading in readings(exact):
        assert float(reading.sd[0]) == pytest.approx(spread[reading.key], rel=0.08)


def _side(case, label):
    return Side(
        label, case.analysis.repetitions[0], case.track, case.analysis.handedness,
        case.frames, case.body, case.centre_of_mass,
    )  # fmt: skip


def test_two_clips_reach_every_shared_event_together(right_side, left_front_quarter):
    one, two = _side(right_side, "A"), _side(left_front_quarter, "B")
    events, first_s, second_s = shared_events(one, two)
    assert EventName.CONTACT in events
    assert warped(first_s, first_s, second_s) == pytest.approx(second_s)
    # Before the first and after the last event both run at the same speed.
    ends = np.array([first_s[0] - 0.3, first_s[-1] + 0.2])
    assert warped(ends, first_s, second_s) == pytest.approx([second_s[0] - 0.3, second_s[-1] + 0.2])
    assert np.all(np.diff(warped(np.linspace(0, 4, 200), first_s, second_s)) > 0)


def test_a_pair_film_is_made_and_needs_two_shared_events(right_side, left_front_quarter):
    a, b = _small(right_side), _small(left_front_quarter)
    data = pair_film(
        _side(a, "Before"), _side(b, "Model"), _frames(a), _frames(b), width=120, pace=QUICK
    )
    codec, pixels, _, frames = _opened(data)
    assert (codec, pixels) == ("h264", "yuv420p")
    width = frames[0].shape[1]
    assert width == pytest.approx(2 * 120 + 8, abs=12)
    only = a.analysis.repetitions[0].model_copy(
        update={"events": {EventName.CONTACT: a.analysis.repetitions[0].events[EventName.CONTACT]}}
    )
    lonely = replace(_side(a, "Before"), repetition=only)
    with pytest.raises(ValueError, match="fewer than two"):
        pair_film(lonely, _side(b, "Model"), [], [])


def test_odd_sizes_are_refused():
    with pytest.raises(ValueError, match="even"), film((101, 50), 30):
        pass


@pytest.mark.skipif(chromium() is None, reason="needs Chromium (Debian: apt-get install chromium)")
def test_a_browser_plays_the_film(made, tmp_path):
    source = base64.b64encode(made).decode()
    page = tmp_path / "film.html"
    page.write_text(
        "<!doctype html><html lang=en><title>f</title>"
        f"<video muted src='data:video/mp4;base64,{source}'></video>"
    )
    with Browser() as browser:
        browser.open(page, 640)
        state = browser.call(
            "Runtime.evaluate",
            expression="""(async () => {
              const v = document.querySelector('video');
              await v.play();
              await new Promise(r => v.addEventListener('timeupdate', r, {once: true}));
              v.currentTime = v.duration / 2;
              await new Promise(r => v.addEventListener('seeked', r, {once: true}));
              return [v.error, v.videoWidth, v.videoHeight, v.duration];
            })()""",
            awaitPromise=True,
            returnByValue=True,
        )["result"]["value"]
    error, width, height, duration = state
    frames = _opened(made)[3]
    assert error is None
    assert (height, width) == frames[0].shape[:2]
    assert duration == pytest.approx(len(frames) / 8, abs=0.01)
