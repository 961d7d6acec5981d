"""Films sent to an S3 server in parts: any order, broken off, gone on with, put together."""

from __future__ import annotations

import hashlib
from typing import Any

import httpx
import pytest

from service.core.multipart import MOST_PARTS, PART_BYTES, part_bytes_of, windows
from service.core.wiring import Wiring
from tests.integration.api.conftest import assert_problem, film
from tests.integration.api.test_direct_uploads import bucket, settings
from tests.integration.api.test_parallel_repeats import assert_equal, side_by_side

__all__ = ["bucket", "settings"]
MIB = 1024**2
CONTENT = film(b"0123456789abcdef" * (17 * MIB // 16))
"""Three parts: two whole ones, and one of one MiB and some bytes."""


@pytest.mark.parametrize("size", [1, PART_BYTES, PART_BYTES + 1, 10**9, 50 * 10**9])
def test_parts_are_the_film_and_not_too_many(size: int) -> None:
    parts = windows(size)
    assert list(parts) == list(range(1, len(parts) + 1))
    assert len(parts) <= MOST_PARTS
    end = 0
    for first, length in parts.values():
        assert (first, length > 0) == (end, True)
        end = first + length
    assert end == size
    assert part_bytes_of(size) % MIB == 0
    assert all(length == part_bytes_of(size) for _, length in list(parts.values())[:-1])


def announce(client: httpx.Client, content: bytes = CONTENT, **more: Any) -> dict[str, Any]:
    body = {"size_bytes": len(content), "sha256": hashlib.sha256(content).hexdigest(), **more}
    reply = client.post("/v1/clips/multipart", json=body)
    assert reply.status_code == 201, reply.text
    plan: dict[str, Any] = reply.json()
    return plan


def put(part: dict[str, Any], content: bytes = CONTENT) -> None:
    """Send one part past the API, as any HTTP client would."""
    first = part["first_byte"]
    window = content[first : first + part["size_bytes"]]
    assert httpx.put(part["url"], content=window, timeout=60).status_code == 200


def test_parts_in_any_order_with_a_break_between(client: httpx.Client, bucket: Any) -> None:
    plan = announce(client, external_ref="court 1")
    assert [part["number"] for part in plan["parts"]] == [1, 2, 3]
    assert not any(part["arrived"] for part in plan["parts"])
    put(plan["parts"][2])
    put(plan["parts"][0])
    early = assert_problem(client.post(plan["links"]["complete"]), 409, "film_not_arrived")
    assert (early["about"], early["parameters"]) == (
        plan["clip"]["id"],
        {"count": 1, "parts": ["2"]},
    )
    # another client goes on with what is missing
    again = client.get(plan["links"]["parts"]).json()
    assert [part["arrived"] for part in again["parts"]] == [True, False, True]
    assert [part["url"] is None for part in again["parts"]] == [True, False, True]
    put(again["parts"][1])
    done = client.post(plan["links"]["complete"])
    assert done.status_code == 200, done.text
    assert (done.json()["state"], done.json()["size_bytes"]) == ("ready", len(CONTENT))
    whole = client.get(done.json()["links"]["content"]).content
    assert hashlib.sha256(whole).hexdigest() == hashlib.sha256(CONTENT).hexdigest()
    assert client.post(plan["links"]["complete"]).json() == done.json()
    assert_problem(client.get(plan["links"]["parts"]), 409, "clip_complete_already")
    assert [item.key for item in bucket.objects.all()] == [f"clips/{plan['clip']['id']}/film"]


def test_a_part_of_another_length_has_not_arrived(client: httpx.Client) -> None:
    plan = announce(client)
    for part in plan["parts"]:
        put(part)
    short = plan["parts"][2]
    assert httpx.put(short["url"], content=b"short").status_code == 200
    assert_problem(client.post(plan["links"]["complete"]), 409, "film_not_arrived")
    put(client.get(plan["links"]["parts"]).json()["parts"][2])
    assert client.post(plan["links"]["complete"]).status_code == 200


def test_other_bytes_than_announced_are_sent_anew(client: httpx.Client, bucket: Any) -> None:
    plan = announce(client)
    wrong = film(b"y" * (len(CONTENT) - len(film(b""))))
    for part in plan["parts"]:
        put(part, wrong)
    assert_problem(client.post(plan["links"]["complete"]), 422, "digest_mismatch")
    again = client.get(plan["links"]["parts"]).json()
    assert not any(part["arrived"] for part in again["parts"])
    for part in again["parts"]:
        put(part)
    assert client.post(plan["links"]["complete"]).status_code == 200
    assert len(list(bucket.objects.all())) == 1


def test_erasing_throws_the_parts_away(client: httpx.Client, bucket: Any) -> None:
    plan = announce(client)
    put(plan["parts"][0])
    assert len(list(bucket.multipart_uploads.all())) == 1
    assert client.delete(plan["clip"]["links"]["self"]).is_success
    assert list(bucket.multipart_uploads.all()) == []
    assert list(bucket.objects.all()) == []


def test_parallel_repeats_announce_and_complete_once(client: httpx.Client, bucket: Any) -> None:
    content = film(b"parts" * 1000)
    body = {"size_bytes": len(content), "sha256": hashlib.sha256(content).hexdigest()}
    headers = {"idempotency-key": "once"}
    replies = side_by_side(lambda: client.post("/v1/clips/multipart", json=body, headers=headers))
    assert_equal(replies, "clip", "links", "part_bytes")  # what is signed bears its second
    assert len(list(bucket.multipart_uploads.all())) == 1
    for part in replies[0].json()["parts"]:
        put(part, content)
    complete = replies[7].json()["links"]["complete"]
    assert_equal(side_by_side(lambda: client.post(complete, headers=headers)))
    assert list(bucket.multipart_uploads.all()) == []


def test_a_film_over_the_limit_is_refused(client: httpx.Client, wired: Wiring) -> None:
    body = {"size_bytes": wired.settings.max_clip_bytes + 1, "sha256": "0" * 64}
    assert_problem(client.post("/v1/clips/multipart", json=body), 413, "clip_too_large")
