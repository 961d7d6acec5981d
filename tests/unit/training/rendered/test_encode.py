from __future__ import annotations

import dataclasses

import av
import numpy as np
import pytest

from models.training.rendered.camera import CameraSpec
from models.training.rendered.clips import ClipSpec, frame_times
from models.training.rendered.encode import Encoder, set_rotation
from models.training.rendered.knobs import ServeKnobs


def spec(**changes):
    base = ClipSpec("000", "serve", 1, ServeKnobs(), CameraSpec(), fps=60.0, size=(64, 48))
    return dataclasses.replace(base, **changes)


def picture(size):
    """Left half dark, right half bright, with a bright band at the top."""
    out = np.full((size[1], size[0], 3), 40, np.uint8)
    out[:, size[0] // 2 :] = 200
    out[: size[1] // 8] = 255
    return out


def written(path, what, times):
    with Encoder(path, what, times) as encoder:
        for _ in times:
            encoder.write(picture(what.size))
    with av.open(str(path)) as container:
        return container.streams.video[0].average_rate, list(container.decode(video=0))


def test_even_film(tmp_path):
    what = spec()
    times = frame_times(what, 0.5)
    rate, frames = written(tmp_path / "a.mp4", what, times)
    assert float(rate) == pytest.approx(60.0, rel=1e-3)
    assert [f.time for f in frames] == pytest.approx(list(times), abs=1e-4)


def test_variable_rate_keeps_the_given_times(tmp_path):
    what = spec(variable_rate=True)
    times = frame_times(what, 1.0)
    _, frames = written(tmp_path / "a.mp4", what, times)
    gaps = np.diff(times)
    assert gaps.min() > 0
    assert gaps.max() > 1.5 * gaps.min()
    assert [f.time for f in frames] == pytest.approx(list(times), abs=1e-4)


def test_slow_motion_file_plays_slower_than_life(tmp_path):
    what = spec(fps=240.0, slow_motion=8.0)
    rate, frames = written(tmp_path / "a.mp4", what, frame_times(what, 0.1))
    assert float(rate) == pytest.approx(30.0, rel=1e-3)
    assert frames[1].time - frames[0].time == pytest.approx(1 / 30, abs=1e-4)


def test_rotated_film_says_how_to_turn_it_back(tmp_path):
    what = spec(rotation=90, size=(48, 64))
    _, frames = written(tmp_path / "a.mp4", what, frame_times(what, 0.1))
    first = frames[0]
    assert (first.width, first.height) == (64, 48)
    # the decoder reports the turn counter-clockwise: -90 is a quarter turn clockwise
    assert first.rotation == -90
    upright = np.rot90(first.to_ndarray(format="rgb24"), first.rotation // 90)
    assert np.abs(upright.astype(int) - picture(what.size)).mean() < 8


def test_same_frames_give_the_same_bytes(tmp_path):
    what = spec()
    for name in ("a.mp4", "b.mp4"):
        written(tmp_path / name, what, frame_times(what, 0.3))
    assert (tmp_path / "a.mp4").read_bytes() == (tmp_path / "b.mp4").read_bytes()


def test_other_rotations_are_refused(tmp_path):
    with pytest.raises(ValueError, match="90"):
        set_rotation(tmp_path / "a.mp4", 180)
