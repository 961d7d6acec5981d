"""The bench measures what it says; no time is asserted."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import av
import numpy as np
import pytest
import typer
from hypothesis import given
from hypothesis import strategies as st

from service.core.containers import media_type_of
from tests.films import write_film
from workers.cli.bench.composed import BETWEEN_S, STANDING_S, Plan, compose, fits, source_times
from workers.cli.bench.report import FORMAT, Part, Timing, finish
from workers.cli.bench.service import another
from workers.cli.bench.tree import Peaks, descendants


@given(
    st.floats(1.0, 60.0),
    st.sampled_from([24, 30, 60, 120, 240]),
    st.integers(0, 10),
    st.floats(0.5, 6.0),
    st.booleans(),
)
def test_a_composed_film_shows_each_serve_whole(
    seconds: float, rate: int, serves: int, serve_s: float, at_edges: bool
) -> None:
    plan = Plan(seconds, rate, serves, at_edges=at_edges)
    shown = source_times(plan, serve_s)
    assert len(shown) == round(seconds * rate)
    assert (shown >= 0.0).all()
    if not fits(plan, serve_s):
        return
    late = shown > max(STANDING_S, serve_s / 2.0)
    runs = int(np.sum(np.diff(late.astype(int), prepend=0) == 1))
    if serve_s > 2.5 * STANDING_S and seconds - serves * (serve_s + BETWEEN_S) > 0.1:
        assert runs == serves
    assert late.sum() <= serves * (serve_s * rate / 2.0 + 2)


def test_serves_can_stand_at_both_ends_of_a_film() -> None:
    shown = source_times(Plan(20.0, 60, 3, at_edges=True), 4.0)
    assert shown[0] == 0.0
    np.testing.assert_allclose(shown[60], 1.0)
    assert shown[-1] > 3.9


def test_a_composed_film_has_the_length_rate_and_size_asked_for(tmp_path: Path) -> None:
    source = write_film(tmp_path / "source.mp4", 30, rate=30)
    film = compose(source, Plan(3.0, 60, 1, 120), tmp_path / "film.mp4")
    with av.open(str(film)) as read:
        stream = read.streams.video[0]
        assert (stream.width, stream.height) == (160, 120)
        assert float(stream.average_rate or 0) == 60.0
        assert sum(1 for _ in read.decode(stream)) == 180


def test_parts_are_added_to_one_document(tmp_path: Path) -> None:
    file = tmp_path / "figures.json"
    one = Timing("a film", "processor time", 2.0, "s", "every frame", 20.0, 10.0)
    finish(Part("films", "Films", [one], {"cpu_s": [2.0]}), file)
    finish(Part("memory", "Memory", [Timing("a film", "peak", 300.0, "MiB")]), file)
    found = json.loads(file.read_text())
    assert found["format"] == FORMAT
    assert set(found["parts"]) == {"films", "memory"}
    assert found["parts"]["films"]["figures"][0]["ratio"] == 10.0
    assert found["parts"]["films"]["samples"] == {"cpu_s": [2.0]}
    assert found["parts"]["films"]["machine"]["usable_cores"] >= 1


def test_a_document_of_something_else_is_left_alone(tmp_path: Path) -> None:
    file = tmp_path / "figures.json"
    file.write_text('{"format": "other"}')
    with pytest.raises(typer.BadParameter):
        finish(Part("films", "Films", []), file)
    assert file.read_text() == '{"format": "other"}'


@pytest.mark.skipif(not Path("/proc").exists(), reason="reads /proc")
def test_peaks_see_a_child_that_was_large_for_a_moment() -> None:
    grow = "import time; a = b'x' * 80_000_000; time.sleep(0.5); del a; time.sleep(0.5)"
    code = f"import subprocess, sys; subprocess.run([sys.executable, '-c', {grow!r}])"
    with subprocess.Popen([sys.executable, "-c", code]) as parent, Peaks(parent.pid) as peaks:
        parent.wait()
    assert peaks.child_mb > 80.0
    assert 0.0 < peaks.root_mb < peaks.child_mb


@pytest.mark.skipif(not Path("/proc").exists(), reason="reads /proc")
def test_descendants_begin_with_the_process_itself() -> None:
    assert descendants(os.getpid())[0] == os.getpid()


def test_another_film_is_a_film_with_another_digest(tmp_path: Path) -> None:
    film = write_film(tmp_path / "film.mp4", 5).read_bytes()
    one, two = another(film), another(film)
    assert len({film, one, two}) == 3
    assert media_type_of(one[:64]) == media_type_of(film[:64]) is not None
    (tmp_path / "one.mp4").write_bytes(one)
    with av.open(str(tmp_path / "one.mp4")) as read:
        assert sum(1 for _ in read.decode(video=0)) == 5
