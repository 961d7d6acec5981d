"""Sends webhooks side by side, so that a receiver that does not answer delays nobody else."""

from __future__ import annotations

import time
from collections.abc import Callable
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from threading import Event

from opentelemetry.trace import SpanKind

from service.core.database import Database
from service.core.deliveries import DeliveryQueue
from service.core.egress import Egress, EgressRefused, SendFailed
from service.core.parcel import Parcel
from service.core.retries import Outcome
from service.core.signing import signed_headers
from service.core.traces import TRACEPARENT, Traces, carried, failed

BODY_TYPE = "application/cloudevents+json"


class Sender:
    """Sends what is due. Several may run, in one process or in many.

    Parameters
    ----------
    slots : int
        Requests at a time in all. Endpoints that did not answer the last time get half of them at
        most, so that however many are away, the others have theirs.
    """

    def __init__(
        self,
        database: Database,
        egress: Egress,
        queue: DeliveryQueue,
        timeout_s: float,
        slots: int,
        traces: Traces,
    ) -> None:
        self._database = database
        self._egress = egress
        self._queue = queue
        self._timeout = timeout_s
        self._slots = slots
        self._traces = traces

    def run_once(self, limit: int = 20) -> int:
        """Try up to ``limit`` due deliveries; return how many were tried."""
        with ThreadPoolExecutor(self._slots, "webhook") as pool:
            running: dict[Future[None], Parcel] = {}
            done = 0
            while True:
                done += self._fill(pool, running, limit - done)
                if not running:
                    return done
                self._reap(running, None)

    def run(self, stopped: Callable[[], bool], limit: int = 20) -> None:
        """Try everything that is due, until nothing is or a stop is asked for."""
        while self.run_once(limit) == limit and not stopped():
            pass

    def serve(self, stop: Event, interval_s: float) -> None:
        """Send whatever becomes due, looking every ``interval_s`` seconds, until told to stop."""
        with ThreadPoolExecutor(self._slots, "webhook") as pool:
            running: dict[Future[None], Parcel] = {}
            while not stop.is_set():
                self._fill(pool, running, self._slots)
                if running:
                    self._reap(running, interval_s)
                else:
                    stop.wait(interval_s)

    def _fill(
        self, pool: ThreadPoolExecutor, running: dict[Future[None], Parcel], most: int
    ) -> int:
        """Start deliveries while there are slots and something is due; return how many."""
        started = 0
        while started < most and len(running) < self._slots:
            doubtful = sum(parcel.doubtful for parcel in running.values())
            parcel = self._claim(doubtful=doubtful < max(1, self._slots // 2))
            if parcel is None:
                break
            running[pool.submit(self._try, parcel)] = parcel
            started += 1
        return started

    def _reap(self, running: dict[Future[None], Parcel], timeout_s: float | None) -> None:
        finished, _ = wait(running, timeout_s, FIRST_COMPLETED)
        for future in finished:
            del running[future]
        for future in finished:
            future.result()

    def _claim(self, *, doubtful: bool = True) -> Parcel | None:
        return self._queue.claim(doubtful=doubtful)

    def _try(self, parcel: Parcel) -> None:
        about: dict[str, str | int] = {
            "servewright.event_id": parcel.event_id,
            "servewright.endpoint_id": parcel.endpoint_id,
            "servewright.tenant_id": parcel.tenant_id,
            "servewright.try": parcel.tries,
        }
        name = f"webhook {parcel.event_type}"
        with self._traces.span(name, parcel.traceparent, SpanKind.CLIENT, about) as span:
            headers, outcome = self._send(parcel)
            if outcome.status is not None:
                span.set_attribute("http.response.status_code", outcome.status)
            if outcome.status is None or outcome.status >= 300:
                failed(span, "no_answer" if outcome.status is None else str(outcome.status))
        self._queue.record(parcel, headers, outcome)

    def _send(self, parcel: Parcel) -> tuple[dict[str, str], Outcome]:
        with self._database.read() as session:
            now = self._database.now(session)
        headers = signed_headers(parcel.secrets, parcel.event_id, now, parcel.body)
        headers["content-type"] = BODY_TYPE
        headers["user-agent"] = "servewright-webhooks/1"
        if (traceparent := carried()) is not None:
            headers[TRACEPARENT] = traceparent
        begun = time.monotonic()
        try:
            answer = self._egress.post(parcel.url, parcel.body.encode(), headers, self._timeout)
        except EgressRefused as error:
            outcome = Outcome(None, f"target refused: {error}", took_s=time.monotonic() - begun)
        except SendFailed as error:
            outcome = Outcome(None, str(error), took_s=time.monotonic() - begun)
        else:
            outcome = Outcome(
                answer.status,
                headers=answer.headers,
                body=answer.body,
                took_s=time.monotonic() - begun,
            )
        return headers, outcome
