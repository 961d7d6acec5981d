"""``/metrics``: the state of the installation in Prometheus' text format, for its operators."""

from __future__ import annotations

import shutil
import time
from collections.abc import Iterator

from fastapi import APIRouter, Request, Response
from prometheus_client import CollectorRegistry, Counter, Histogram
from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily
from prometheus_client.exposition import choose_encoder
from prometheus_client.metrics_core import Metric
from prometheus_client.registry import Collector
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from models.contract.errors import QueueUnavailable
from service.api.dependencies import CanAdminister
from service.api.routing import get_and_head
from service.core.organisations import require_operator
from service.core.wiring import Wiring

router = APIRouter(tags=["operations"])
_BUCKETS = (0.005, 0.02, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0, 15.0, 60.0)
"""Upper bounds of request durations, seconds (working values)."""


class InstallationCollector(Collector):
    """Asks database, queue and disk at each scrape; the rest is counted as it happens."""

    def __init__(self, wired: Wiring) -> None:
        self._wired = wired

    def collect(self) -> Iterator[Metric]:
        """Yield all families."""
        yield from self._queues()
        yield from self._workers()
        yield from self._webhooks()
        yield from self._disk()
        yield from self._counted()

    def _queues(self) -> Iterator[Metric]:
        depth = _gauge("queue_depth", "Work that waits, by the database.", "lane")
        listed = _gauge("queue_listed", "Attempts that wait in Redis.", "lane")
        age = _gauge("queue_oldest_seconds", "How long the oldest work has waited.", "lane")
        running = _gauge("work_running", "Work that workers hold a lease on.", "lane")
        lapsed = _gauge("leases_lapsed", "Running work whose lease has run out.", "lane")
        for one in self._wired.overview.lanes():
            depth.add_metric([one.lane], one.queued)
            age.add_metric([one.lane], one.oldest_s)
            running.add_metric([one.lane], one.running)
            lapsed.add_metric([one.lane], one.lapsed)
            if one.in_redis is not None:
                listed.add_metric([one.lane], one.in_redis)
        yield from (depth, listed, age, running, lapsed)

    def _workers(self) -> Iterator[Metric]:
        workers = _gauge("workers", "Worker processes that Redis knows.", "lane", "state")
        answers = _gauge("redis_up", "Whether Redis answers.")
        try:
            found = self._wired.overview.workers()
        except QueueUnavailable:
            answers.add_metric([], 0)
            yield answers
            return
        answers.add_metric([], 1)
        for lane in {one.lane for one in found}:
            for state, busy in (("busy", True), ("idle", False)):
                count = sum(one.lane is lane and one.busy is busy for one in found)
                workers.add_metric([lane, state], count)
        yield from (answers, workers)

    def _webhooks(self) -> Iterator[Metric]:
        state = self._wired.overview.webhooks()
        for name, told, value in (
            ("webhook_deliveries_pending", "Events that wait to be delivered.", state.pending),
            ("webhook_lag_seconds", "Age of the oldest of them.", state.lag_s),
            ("webhook_endpoints_disabled", "Endpoints switched off.", state.disabled),
            (
                "erasures_under_way",
                "Erasures that are not completed.",
                self._wired.overview.erasures(),
            ),
        ):
            family = _gauge(name, told)
            family.add_metric([], value)
            yield family

    def _disk(self) -> Iterator[Metric]:
        free = _gauge("disk_free_bytes", "Room on the disk of data_dir.")
        size = _gauge("disk_bytes", "Size of that disk.")
        try:
            found = shutil.disk_usage(self._wired.settings.data_dir)
        except OSError:  # nothing is kept there: all stores are elsewhere
            return
        free.add_metric([], found.free)
        size.add_metric([], found.total)
        yield from (free, size)

    def _counted(self) -> Iterator[Metric]:
        families = {
            "attempts": _counter("attempts", "Attempts that ended.", "kind", "outcome"),
            "stage_seconds": _counter("stage_seconds", "Time in stages.", "kind", "stage"),
            "stages": _counter("stages", "Stages that were gone through.", "kind", "stage"),
        }
        for (name, *labels), value in sorted(self._wired.tallies.read().items()):
            family = families.get(name)
            if family is not None and len(labels) == 2:
                family.add_metric(labels, value)
        yield from families.values()


def _gauge(name: str, told: str, *labels: str) -> GaugeMetricFamily:
    return GaugeMetricFamily(f"servewright_{name}", told, labels=labels)


def _counter(name: str, told: str, *labels: str) -> CounterMetricFamily:
    return CounterMetricFamily(f"servewright_{name}", told, labels=labels)


class RequestMetrics:
    """Counts the answers of this process, by route (never by path: paths hold ids)."""

    def __init__(self, registry: CollectorRegistry) -> None:
        self._answers = Counter(
            "servewright_http_answers",
            "Answers of this process.",
            ("method", "route", "status"),
            registry=registry,
        )
        self._seconds = Histogram(
            "servewright_http_seconds",
            "Time to the first byte of an answer.",
            ("method",),
            buckets=_BUCKETS,
            registry=registry,
        )

    def answered(self, scope: Scope, status: int, seconds: float) -> None:
        """Count one answer."""
        route = getattr(scope.get("route"), "path_format", "none")
        method = scope["method"] if scope["method"] in _METHODS else "other"
        self._answers.labels(method, route, str(status)).inc()
        self._seconds.labels(method).observe(seconds)


_METHODS = frozenset({"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"})


class CountedAnswers:
    """Middleware that counts answers."""

    def __init__(self, app: ASGIApp, metrics: RequestMetrics) -> None:
        self._app = app
        self._metrics = metrics

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one connection."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        began = time.monotonic()

        async def outgoing(message: Message) -> None:
            if message["type"] == "http.response.start":
                self._metrics.answered(scope, message["status"], time.monotonic() - began)
            await send(message)

        await self._app(scope, receive, outgoing)


def registry_of(wired: Wiring) -> CollectorRegistry:
    """Return a registry that knows the installation."""
    registry = CollectorRegistry(auto_describe=False)
    registry.register(InstallationCollector(wired))
    return registry


@get_and_head(
    router,
    "/metrics",
    operation_id="read_installation_metrics",
    summary="Read metrics of the installation",
    response_class=Response,
    responses={
        200: {
            "content": {"text/plain": {"schema": {"type": "string"}}},
            "description": "Prometheus' text format, or OpenMetrics where it is asked for.",
        }
    },
)
def read_metrics(request: Request, principal: CanAdminister) -> Response:
    """Read queues, workers, leases, stages, failures, webhooks and disk, for Prometheus.

    Needs an admin key of the first organisation (`authorization` in Prometheus' configuration).
    """
    require_operator(principal)
    encoder, media_type = choose_encoder(request.headers.get("accept", ""))
    body = encoder(request.app.state.metrics)
    return Response(body, headers={"content-type": media_type, "cache-control": "no-store"})
