"""Waiting for work: ever more seldom, or as the service says."""

from __future__ import annotations

from typing import Any

import httpx
import pytest
from servewright_client import WaitedTooLong, Work, WorkFailed

HERE = "/v1/analyses/ana_1"


def document(status: str, **more: Any) -> dict[str, Any]:
    return {"id": "ana_1", "status": status, "progress": 0.5, "links": {"self": HERE}, **more}


def answer(status: str, headers: dict[str, str] | None = None, **more: Any) -> httpx.Response:
    return httpx.Response(200, json=document(status, **more), headers=headers)


WORK = Work.of(document("queued"))


def test_ended_work_is_returned_with_what_was_seen(scripted) -> None:
    client, script = scripted(
        answer("queued"),
        answer("running"),
        answer("running", time_left_s=20.0),
        answer("running", {"retry-after": "3"}),
        answer("completed", headline={"repetitions": 1}),
    )
    seen: list[str] = []
    done = client.wait(WORK, watch=lambda work: seen.append(work.status))
    assert done.headline == {"repetitions": 1}
    assert seen == ["queued", "running", "running", "running", "completed"]
    assert script.waits == [0.5, 0.75, 5.0, 3.0]


def test_waits_end_at_ten_seconds(scripted) -> None:
    client, script = scripted(*[answer("running")] * 12, answer("completed"))
    client.wait(WORK)
    assert script.waits == sorted(script.waits)
    assert script.waits[-1] == 10.0


@pytest.mark.parametrize("status", ["failed", "cancelled"])
def test_work_without_a_result_is_an_error_with_its_reason(scripted, status: str) -> None:
    problem = {"code": "not_a_video", "title": "t", "status": 422, "detail": "Send a film."}
    more = {"problem": problem} if status == "failed" else {}
    client, _ = scripted(answer(status, **more))
    with pytest.raises(WorkFailed, match=r"Send a film|cancelled") as caught:
        client.wait(WORK)
    ended = caught.value.work.problem
    assert (ended and ended.code) == ("not_a_video" if more else None)


def test_patience_ends(scripted) -> None:
    client, _ = scripted(answer("running"))
    with pytest.raises(WaitedTooLong) as caught:
        client.wait(WORK, timeout_s=0.0)
    assert caught.value.work.status == "running"
