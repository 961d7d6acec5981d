"""Each process of a test run works on a Redis database of its own."""

from __future__ import annotations

import pytest
import redis

from tests.conftest import redis_database_of


@pytest.mark.parametrize(
    ("url", "first"),
    [
        ("redis://queue:6379", 0),
        ("redis://queue:6379/3", 3),
        ("redis://:word@queue:6379/3?db=4", 4),  # redis-py: the query wins
        ("unix:///run/queue.sock", 0),
        ("unix:///run/queue.sock?db=2", 2),
    ],
)
def test_databases_follow_the_named_one(url: str, first: int) -> None:
    place = place_of(url)
    for worker, number in (("master", first), ("gw0", first), ("gw7", first + 7)):
        assert place_of(redis_database_of(worker, url)) == place | {"db": number}


def place_of(url: str) -> dict[str, object]:
    """Return what redis-py reads in an address."""
    options = redis.Redis.from_url(url).connection_pool.connection_kwargs
    return {name: options.get(name) for name in ("host", "port", "path", "password", "db")}
