"""Receivers that are slow, dead or gone, and what the others notice of them; real sockets."""

from __future__ import annotations

import json
import random
import socket
import threading
import time
from collections import defaultdict
from collections.abc import Iterator
from datetime import timedelta

import httpx
import pytest
from sqlalchemy import select, update

from models.contract.webhook import WebhookData
from service.core.outbox import emit
from service.core.retries import GIVE_UP_AFTER
from service.core.tables import Delivery, WebhookEndpoint
from service.core.wiring import Wiring
from tests.integration.api.test_webhooks import (
    Receiver,
    due_again,
    receiver,
    register,
    settings,
)

__all__ = ["receiver", "settings"]
PATIENCE_S = 60.0
"""Only ends a test that hangs; nothing is judged by it."""


class Dead:
    """Accepts connections and never answers until it is let go."""

    def __init__(self) -> None:
        self.server = socket.create_server(("127.0.0.1", 0), backlog=100)
        self.held: list[socket.socket] = []
        self.waiting = threading.Semaphore(0)
        self._thread = threading.Thread(target=self._accept, daemon=True)
        self._thread.start()

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.server.getsockname()[1]}/hook"

    def _accept(self) -> None:
        while True:
            try:
                connection, _ = self.server.accept()
            except OSError:
                return
            self.held.append(connection)
            self.waiting.release()

    def let_go(self) -> None:
        """Cut everything off."""
        if self.server.fileno() < 0:
            return
        self.server.shutdown(socket.SHUT_RDWR)
        self.server.close()
        self._thread.join(PATIENCE_S)
        for connection in self.held:
            connection.close()


@pytest.fixture
def dead() -> Iterator[Dead]:
    made = Dead()
    yield made
    made.let_go()


def happen(wired: Wiring, subject: str, count: int = 1) -> list[str]:
    """Let things happen to a subject; return the ids of the events."""
    found = []
    for _ in range(count):
        with wired.database.write() as session:
            found.append(
                emit(
                    session,
                    wired.database.now(session),
                    tenant_id="main",
                    type="analysis.completed",
                    source="/v1/analyses",
                    subject=subject,
                    data=WebhookData(resource="analysis", id=subject),
                )
            )
    return found


def ids(receiver: Receiver) -> list[str]:
    return [headers["webhook-id"] for headers, _ in receiver.got]


def until(receiver: Receiver, count: int) -> None:
    end = time.monotonic() + PATIENCE_S
    while len(receiver.got) < count and time.monotonic() < end:
        time.sleep(0.01)
    assert len(receiver.got) >= count


def test_a_dead_receiver_with_fifty_events_waiting_delays_nobody(
    client: httpx.Client, wired: Wiring, receiver: Receiver, dead: Dead
) -> None:
    """The healthy one gets its events while the dead one still holds every request it got."""
    patient = wired.settings.model_copy(update={"webhook_timeout_s": 30.0})
    object.__setattr__(wired, "settings", patient)
    lost = register(client, dead.url)
    for _ in range(50):
        client.post(f"/v1/webhook-endpoints/{lost['id']}/test")
    sender, stop = wired.sender(), threading.Event()
    thread = threading.Thread(target=sender.serve, args=(stop, 0.05))
    thread.start()
    try:
        most = wired.settings.webhook_requests_per_endpoint
        for _ in range(most):
            assert dead.waiting.acquire(timeout=PATIENCE_S)
        healthy = register(client, receiver.url)
        for number in range(1, 11):
            client.post(f"/v1/webhook-endpoints/{healthy['id']}/test")
            until(receiver, number)
        assert len(dead.held) == most  # none of them has been answered, and no more were sent
        assert not dead.waiting.acquire(blocking=False)
    finally:
        stop.set()
        dead.let_go()
        thread.join(PATIENCE_S)
    assert not thread.is_alive()
    with wired.database.read() as session:
        row = session.get_one(WebhookEndpoint, lost["id"])
        assert row.failures == most
        assert row.paused_until is not None
    assert wired.sender().run_once() == 0  # the dead one rests, whatever is due to it
    with wired.database.write() as session:
        session.execute(update(WebhookEndpoint).values(paused_until=None))
    assert wired.sender()._claim() is not None
    assert wired.sender()._claim() is None  # one at a time until it answers again


def test_endpoints_that_are_away_get_half_of_the_slots(
    client: httpx.Client, wired: Wiring, receiver: Receiver
) -> None:
    few = wired.settings.model_copy(update={"webhook_requests": 2})
    object.__setattr__(wired, "settings", few)
    doomed = [Dead() for _ in range(4)]
    for one in doomed:
        made = register(client, one.url)
        client.post(f"/v1/webhook-endpoints/{made['id']}/test")
    with wired.database.write() as session:
        session.execute(update(WebhookEndpoint).values(failures=3))
    healthy = register(client, receiver.url)
    sender, stop = wired.sender(), threading.Event()
    thread = threading.Thread(target=sender.serve, args=(stop, 0.05))
    thread.start()
    try:
        for number in range(1, 4):
            client.post(f"/v1/webhook-endpoints/{healthy['id']}/test")
            until(receiver, number)
    finally:
        stop.set()
        for one in doomed:
            one.let_go()
        thread.join(PATIENCE_S)


def test_a_receiver_that_answers_again_is_trusted_again(
    client: httpx.Client, wired: Wiring, receiver: Receiver
) -> None:
    made = register(client, receiver.url)
    log = f"/v1/webhook-endpoints/{made['id']}/deliveries"
    receiver.answers = [503]
    client.post(f"/v1/webhook-endpoints/{made['id']}/test")
    wired.sender().run_once()
    assert client.get(log).json()["resting_until"] is not None
    client.post(f"/v1/webhook-endpoints/{made['id']}/test")
    assert wired.sender().run_once() == 0  # due, but it rests
    due_again(wired)
    assert wired.sender().run_once() == 2
    assert client.get(log).json()["resting_until"] is None


def test_what_waited_too_long_for_a_dead_receiver_is_given_up(
    client: httpx.Client, wired: Wiring, dead: Dead
) -> None:
    register(client, dead.url)
    happen(wired, "ana_1", 3)
    with wired.database.write() as session:
        old = wired.database.now(session) - GIVE_UP_AFTER - timedelta(hours=1)
        session.execute(update(Delivery).values(queued_at=old))
    happen(wired, "ana_2")
    dead.let_go()  # refuses connections from now on
    wired.sender().run_once()
    with wired.database.read() as session:
        found = session.execute(select(Delivery.subject, Delivery.state)).all()
    states = defaultdict(set)
    for subject, state in found:
        states[subject].add(state)
    assert states["ana_2"] == {"pending"}
    assert "failed" in states["ana_1"]


def test_events_of_one_subject_wait_for_the_one_before(
    client: httpx.Client, wired: Wiring, receiver: Receiver
) -> None:
    register(client, receiver.url)
    first, second, third = happen(wired, "ana_1", 3)
    (other,) = happen(wired, "ana_2")
    receiver.answers = [500]
    assert wired.sender().run_once(1) == 1
    assert wired.sender().run_once() == 1
    assert ids(receiver) == [first, other]
    assert wired.sender().run_once() == 0
    due_again(wired)
    assert wired.sender().run_once() == 3
    assert ids(receiver) == [first, other, first, second, third]


def test_one_that_is_given_up_holds_nothing_up(
    client: httpx.Client, wired: Wiring, receiver: Receiver
) -> None:
    register(client, receiver.url)
    first, second = happen(wired, "ana_1", 2)
    with wired.database.write() as session:
        session.execute(update(Delivery).where(Delivery.event_id == first).values(tries=9))
    receiver.answers = [500]
    assert wired.sender().run_once() == 2
    assert ids(receiver) == [first, second]


def test_the_order_within_a_subject_is_kept_by_senders_side_by_side(
    client: httpx.Client, wired: Wiring, receiver: Receiver
) -> None:
    register(client, receiver.url)
    expected = {f"ana_{number}": list[str]() for number in range(4)}
    seeded = random.Random(7)
    for _ in range(24):
        subject = seeded.choice(sorted(expected))
        expected[subject] += happen(wired, subject)
    answers = [seeded.choice((204, 204, 500)) for _ in range(20)]
    receiver.answers = list(answers)
    for _ in range(12):
        threads = [threading.Thread(target=wired.sender().run_once) for _ in range(3)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        due_again(wired)
    arrived = defaultdict(list)
    for _, body in receiver.got:
        event = json.loads(body)
        if event["id"] not in arrived[event["subject"]]:
            arrived[event["subject"]].append(event["id"])
    assert dict(arrived) == {subject: found for subject, found in expected.items() if found}
    assert len(receiver.got) == 24 + answers.count(500)


def test_gone_is_said_on_the_endpoint_and_to_the_others(
    client: httpx.Client, wired: Wiring, receiver: Receiver
) -> None:
    gone = register(client, receiver.url)
    admin = Receiver()
    thread = threading.Thread(target=admin.serve_forever, args=(0.02,), daemon=True)
    thread.start()
    register(client, admin.url, "endpoint.disabled")
    receiver.answers = [410]
    client.post(f"/v1/webhook-endpoints/{gone['id']}/test")
    wired.sender().run_once()
    admin.shutdown()
    admin.server_close()
    thread.join()
    shown = client.get(f"/v1/webhook-endpoints/{gone['id']}")
    assert (shown.json()["enabled"], shown.json()["disabled_reason"]) == (False, "gone")
    assert shown.json()["disabled_at"] is not None
    (told,) = [json.loads(body) for _, body in admin.got]
    assert told["type"] == "endpoint.disabled"
    assert told["subject"] == gone["id"]
    assert told["data"]["headline"] == {"reason": "gone", "status": 410}
    assert len(receiver.got) == 1
    again = client.patch(
        f"/v1/webhook-endpoints/{gone['id']}",
        json={"enabled": True},
        headers={"if-match": shown.headers["etag"]},
    ).json()
    assert (again["enabled"], again["disabled_reason"], again["disabled_at"]) == (True, None, None)
