"""The instruments of the runs that try to break a service: they must notice what they look for."""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import httpx
import numpy as np
import pytest
from redis import Redis

from infra.chaos.damage import MUTATORS
from infra.chaos.damaged import FRAMES, Counted, beginnings
from infra.chaos.receiver import Receiver
from infra.chaos.recovery import Recovery
from infra.chaos.store import BUCKET, FailingStore
from tests.films import RENDERED
from workers.video import open_clip

Row = tuple[str, int, float]


@pytest.mark.parametrize("name", MUTATORS)
def test_each_mutator_damages_and_can_be_repeated(name: str) -> None:
    films = [path.read_bytes() for path in sorted(RENDERED.glob("*.mp4"))[:2]]
    made = {MUTATORS[name](*films, np.random.default_rng(seed)) for seed in (1, 2, 3)}
    again = {MUTATORS[name](*films, np.random.default_rng(seed)) for seed in (1, 2, 3)}
    assert made == again
    assert films[0] not in made
    assert all(len(one) >= 32 for one in made)


def test_beginnings_are_sound_films(tmp_path: Path) -> None:
    found = beginnings(tmp_path)
    assert len(found) == len(list(RENDERED.glob("*.mp4")))
    path = tmp_path / "film.mp4"
    for data in found[:2]:
        path.write_bytes(data)
        with open_clip(path) as clip:
            assert FRAMES - 2 <= len(list(clip)) <= FRAMES


def test_who_is_blamed_for_what() -> None:
    counted = Counted()
    counted.ended("sound", "completed", 0)
    counted.ended("flipped", "clip_damaged", 422)
    assert not counted.machine
    assert not counted.blamed
    counted.ended("flipped", "decoder_stopped", 503)
    counted.ended("sound", "clip_damaged", 422)
    assert counted.machine == ["flipped: decoder_stopped"]
    assert counted.blamed == ["clip_damaged"]


def test_a_doubled_webhook_is_noticed() -> None:
    receiver = Receiver()
    for name in ("evt_1", "evt_1", "evt_2"):
        body = {"type": "analysis.completed", "subject": "ana_1"}
        sent = httpx.post(receiver.url, json=body, headers={"webhook-id": name}, trust_env=False)
        assert sent.status_code == 204
        assert bool(receiver.doubled()) is (name == "evt_2")
    assert receiver.told("analysis.completed", "ana_1")
    assert not receiver.told("analysis.completed", "ana_2")
    receiver.close()


def test_the_store_fails_as_often_as_asked() -> None:
    store = FailingStore(0.3, seed=1)
    try:
        outcomes: Counter[str] = Counter()
        for number in range(200):
            try:
                address = f"{store.url}/{BUCKET}/a/{number}"
                sent = httpx.put(address, content=b"x" * 100, trust_env=False)
                outcomes[str(sent.status_code)] += 1
            except httpx.TransportError:
                outcomes["cut"] += 1
        failed = 200 - outcomes["200"]
        assert 35 <= failed <= 85  # 60 expected, four standard deviations of the binomial
        assert outcomes["503"] > 0
        assert outcomes["cut"] > 0
        # Calls that were carried out without an answer left their objects all the same.
        assert len(store.keys()) == 200 - outcomes["503"]
    finally:
        store.close()


class Watched(Recovery):
    """Sees the rows that the test sets."""

    def __init__(self, queue: Redis) -> None:
        self.now: dict[str, Row] = {}
        super().__init__("", queue, "", 5.0)

    def rows(self) -> dict[str, Row]:
        return dict(self.now)


def eventually(check: Callable[[], bool]) -> bool:
    end = time.monotonic() + 20
    while not check():
        if time.monotonic() > end:
            return False
        time.sleep(0.05)
    return True


@pytest.mark.parametrize("after", [("running", 2, 5.0), ("completed", 1, 0.0)])
def test_killed_work_has_recovered_when_it_goes_on(redis_server_url: str, after: Row) -> None:
    watch = Watched(Redis.from_url(redis_server_url))
    watch.now = {"ana_1": ("running", 1, 4.5), "ana_2": ("queued", 1, 0.0)}
    watch.begin("job", before=watch.rows())
    for stuck in (("running", 1, 0.5), ("queued", 2, 0.0)):
        watch.now["ana_1"] = stuck
        time.sleep(0.5)
        assert not watch.seconds["job"]
    watch.now["ana_1"] = after
    assert eventually(lambda: len(watch.seconds["job"]) == 1)
    assert watch.close() == {}


def test_a_flush_is_over_when_what_waited_is_listed(redis_server_url: str) -> None:
    queue = Redis.from_url(redis_server_url)
    queue.flushdb()
    watch = Watched(queue)
    watch.now = {"ana_1": ("queued", 3, 0.0)}
    watch.begin("flush", before=watch.rows())
    queue.rpush("rq:queue:other", "ana_1-2")  # an earlier attempt
    time.sleep(0.5)
    assert not watch.seconds["flush"]
    queue.rpush("rq:queue:x", "ana_1-3")
    assert eventually(lambda: len(watch.seconds["flush"]) == 1)
    watch.begin("worker", before={"ana_1": ("running", 3, 1.0)})
    watch.now = {"ana_1": ("queued", 4, 0.0)}
    assert watch.close() == {"worker": 1}  # told as not seen to recover
    queue.flushdb()
