"""The capacity model against queueing theory, and the rule by which workers come and go."""

from __future__ import annotations

import math
from collections.abc import Generator
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pytest
import simpy
import typer
from hypothesis import given
from hypothesis import strategies as st

from workers.cli.capacity import page
from workers.cli.capacity.measured import LoadCosts, read
from workers.cli.capacity.model import Draw, Station, arrivals, exponential, sampled
from workers.cli.capacity.scenario import Scaling, Size, simulate
from workers.cli.capacity.theory import (
    late_share,
    mean_wait_s,
    servers_needed,
    waiting_probability,
)


def waits(servers: int, rate: float, service: Draw, customers: int, seed: int) -> list[float]:
    """Return the times in the queue of a single station, the first tenth left out."""
    env = simpy.Environment()
    station = Station(env, "one", servers)

    def customer() -> Generator[Any, Any, None]:
        yield from station.serve(service())

    rng = np.random.default_rng(seed)
    env.process(arrivals(env, lambda _now: rate, rate, rng, customer))
    env.run(until=customers / rate)
    return station.waits_s[len(station.waits_s) // 10 :]


@pytest.mark.parametrize(
    ("servers", "load", "expected"),
    [
        # Erlang C by hand: one server waits with probability rho; (2, 1): 1/3; (3, 2): 4/9.
        (1, 0.6, 0.6),
        (2, 1.0, 1 / 3),
        (3, 2.0, 4 / 9),
        (4, 4.0, 1.0),
    ],
)
def test_erlang_c_at_worked_values(servers: int, load: float, expected: float) -> None:
    assert waiting_probability(servers, load) == pytest.approx(expected, abs=1e-12)


@given(st.integers(1, 200), st.floats(0.0, 1.2))
def test_erlang_c_is_a_probability_and_falls_with_servers(servers: int, use: float) -> None:
    load = use * servers
    here, more = waiting_probability(servers, load), waiting_probability(servers + 1, load)
    assert 0.0 <= more <= here <= 1.0


@pytest.mark.parametrize(("servers", "use"), [(1, 0.5), (2, 0.7), (5, 0.8), (20, 0.9)])
def test_exponential_service_waits_as_erlang_c_says(servers: int, use: float) -> None:
    # Queueing Systems, volume 1, Wiley 1975, chapter 3 (M/M/m); from memory.
    service_s = 3.0
    rate = use * servers / service_s
    rng = np.random.default_rng(10 + servers)
    seen = waits(servers, rate, exponential(service_s, rng), 25_000, seed=servers)
    waited = float(np.mean(np.array(seen) > 0.0))
    assert waited == pytest.approx(waiting_probability(servers, use * servers), abs=0.03)
    assert np.mean(seen) == pytest.approx(mean_wait_s(servers, rate, service_s), rel=0.2)
    limit = service_s / servers
    late = float(np.mean(np.array(seen) > limit))
    assert late == pytest.approx(late_share(servers, rate, service_s, limit), abs=0.03)


def test_constant_service_waits_half_as_long_as_exponential() -> None:
    # M/D/1: mean wait = rho * service / (2 (1 - rho)), half of M/M/1 (the same book, chapter 5).
    seen = waits(1, 0.7, lambda: 1.0, 25_000, seed=3)
    assert np.mean(seen) == pytest.approx(0.7 / (2.0 * 0.3), rel=0.1)


def test_a_station_serves_in_the_order_of_arrival_and_grows() -> None:
    env = simpy.Environment()
    station = Station(env, "one", 1)
    ended: list[tuple[str, float]] = []

    def customer(name: str) -> Generator[Any, Any, None]:
        yield from station.serve(10.0)
        ended.append((name, env.now))

    for name in "abcd":
        env.process(customer(name))

    def help_comes() -> Generator[Any, Any, None]:
        yield env.timeout(5.0)
        assert station.queued == 3
        assert station.oldest_s == 5.0
        station.resize(2)

    env.process(help_comes())
    env.run()
    assert ended == [("a", 10.0), ("b", 15.0), ("c", 20.0), ("d", 25.0)]
    assert station.busy_s == 40.0


def test_samples_are_those_that_were_measured() -> None:
    draw = sampled([1.0, 2.0, 4.0], np.random.default_rng(0))
    assert {draw() for _ in range(200)} == {1.0, 2.0, 4.0}
    with pytest.raises(ValueError, match="measured"):
        sampled([], np.random.default_rng(0))


MEASURED = LoadCosts(
    analysis_s=(20.0, 30.0, 40.0),
    upload_s=(0.02,),
    status_s=(0.004,),
    transaction_s=(0.002,),
    round_row_s=0.0002,
    store_s=(0.001,),
    machine="made up",
)


def test_enough_workers_by_theory_are_enough_in_the_model() -> None:
    rate = 2000 * 0.15 / 3600
    enough = servers_needed(rate, 30.0, 30.0, 0.05)
    assert math.ceil(rate * 30.0) <= enough <= 6
    few = simulate(2000, Size(workers=1), MEASURED)
    many = simulate(2000, Size(workers=enough), MEASURED)
    assert many.wait_p95_s < 40.0 < few.wait_p95_s
    assert many.left <= 2 < few.left


def test_a_narrow_station_is_where_it_bends() -> None:
    slow = LoadCosts(
        MEASURED.analysis_s, (1.0,), (0.05,), (0.002,), MEASURED.round_row_s, (0.001,), ""
    )
    narrow = simulate(20_000, Size(workers=40), slow)
    wide = simulate(20_000, Size(workers=40, api_processes=4), slow)
    assert max(narrow.use, key=lambda name: narrow.use[name]) == "api"
    assert narrow.use["api"] > 0.9 > wide.use["api"]


def test_the_rule_follows_the_queue() -> None:
    rule = Scaling(target_s=60.0, least=2, most=50)
    # 0.5 clips a second of 30 s keep 15 busy; 40 that wait are gone in 60 s with 20 more.
    assert rule.wanted(15, 40, 80.0, 0.5, 30.0) == 35
    assert rule.wanted(15, 0, 0.0, 0.1, 30.0) == 3
    assert rule.wanted(15, 1, 20.0, 0.1, 30.0) == 15  # not fewer while the queue is old
    assert rule.wanted(15, 0, 0.0, 0.0, 30.0) == 2
    assert rule.wanted(15, 10_000, 900.0, 5.0, 30.0) == 50


def test_workers_that_come_and_go_keep_the_queue_short() -> None:
    alone = simulate(6000, Size(workers=2), MEASURED)
    scaled = simulate(6000, Size(workers=2), MEASURED, scaling=Scaling(start_s=60.0, most=40))
    assert scaled.workers > 5
    assert scaled.left < alone.left / 5
    assert scaled.wait_p95_s < alone.wait_p95_s / 2


def test_the_page_holds_tables_rule_and_graphs(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(page, "DAYS", (100.0, 1000.0))
    monkeypatch.setattr(page, "USERS", page.USERS[:1] * 2)
    texts = page.files(MEASURED)
    assert set(texts) == {"sizing.md", "sizing-club.svg", "sizing-stations.svg"}
    text = texts["sizing.md"]
    for name in texts:
        assert name == "sizing.md" or f"({name})" in text
    assert "| 1,000 |" in text
    assert "30.0 s of a core" in text
    assert "FROM work WHERE status = 'queued'" in text
    for name in set(texts) - {"sizing.md"}:
        assert ElementTree.fromstring(texts[name]).tag.endswith("svg")
        assert len(texts[name]) < 6000


def test_a_document_that_lacks_a_part_says_which_command_adds_it(tmp_path: Path) -> None:
    file = tmp_path / "bench.json"
    file.write_text('{"format": "servewright-bench-1", "parts": {}}')
    with pytest.raises(typer.BadParameter, match="servewright bench films"):
        read(file)
