"""Traces of work, from the request over queue, worker and stages to its webhooks.

Off unless ``OTEL_EXPORTER_OTLP_ENDPOINT`` or ``OTEL_EXPORTER_OTLP_TRACES_ENDPOINT`` names a
collector (OTLP over HTTP; the other ``OTEL_*`` variables are OpenTelemetry's own). Where a trace
goes on is kept with the row of work and with its events, never in the queue, as text in the form
of W3C Trace Context (Recommendation of 2021-11-23). A caller's trace goes through to its webhooks
also while nothing is recorded here.

Spans hold ids of ours, kinds, codes and routes: no names, no addresses, no text of an error.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from functools import cached_property
from importlib.metadata import PackageNotFoundError, version
from typing import TYPE_CHECKING

from opentelemetry import trace
from opentelemetry.context import Context
from opentelemetry.trace import NoOpTracer, Span, SpanKind, Status, StatusCode, Tracer
from opentelemetry.trace.propagation.tracecontext import TraceContextTextMapPropagator

if TYPE_CHECKING:
    from opentelemetry.sdk.trace import TracerProvider
    from opentelemetry.sdk.trace.export import SpanExporter

ENDPOINTS = ("OTEL_EXPORTER_OTLP_TRACES_ENDPOINT", "OTEL_EXPORTER_OTLP_ENDPOINT")
TIMEOUTS = ("OTEL_EXPORTER_OTLP_TRACES_TIMEOUT", "OTEL_EXPORTER_OTLP_TIMEOUT")
TIMEOUT_S = 3.0
"""What a collector gets to take spans, seconds, unless the environment says otherwise: a job that
has ended waits for it (working value; OpenTelemetry's own is 10)."""
TRACEPARENT = "traceparent"

Attributes = Mapping[str, str | int]

_form = TraceContextTextMapPropagator()


def carried() -> str | None:
    """Return where the trace of what runs now goes on, as ``traceparent``; None = no trace."""
    carrier: dict[str, str] = {}
    _form.inject(carrier)
    return carrier.get(TRACEPARENT)


def trace_id() -> str | None:
    """Return the id of the trace of what runs now, 32 hexadecimal digits; None = no trace."""
    context = trace.get_current_span().get_span_context()
    return trace.format_trace_id(context.trace_id) if context.is_valid else None


def _context(traceparent: str | None) -> Context:
    """Return a context that goes on there; a text that is no ``traceparent`` begins a new trace."""
    return _form.extract({TRACEPARENT: traceparent} if traceparent else {}, Context())


class Traces:
    """Records spans and sends them to a collector, in threads of its own.

    Parameters
    ----------
    exporter : SpanExporter or None
        Takes the spans; None = as the environment says.
    """

    def __init__(self, exporter: SpanExporter | None = None) -> None:
        self._exporter = exporter

    @property
    def on(self) -> bool:
        """Whether anything is recorded."""
        return self._exporter is not None or any(os.environ.get(name) for name in ENDPOINTS)

    @contextmanager
    def span(
        self,
        name: str,
        parent: str | None,
        kind: SpanKind = SpanKind.INTERNAL,
        attributes: Attributes | None = None,
        *,
        begun_s: float | None = None,
    ) -> Iterator[Span]:
        """Let a span be the one that runs now.

        Parameters
        ----------
        parent : str or None
            ``traceparent`` of what caused it.
        begun_s : float or None
            Unix time, seconds; None = now.
        """
        span = self._tracer.start_span(
            name,
            _context(parent),
            kind,
            attributes,
            start_time=None if begun_s is None else round(begun_s * 1e9),
            record_exception=False,  # their texts may name files
            set_status_on_exception=False,
        )
        with trace.use_span(span, True, record_exception=False, set_status_on_exception=False):
            yield span

    def note(
        self,
        name: str,
        parent: str | None,
        begun_s: float,
        ended_s: float,
        attributes: Attributes | None = None,
    ) -> None:
        """Record a span that lies behind us, by Unix times in seconds."""
        span = self._tracer.start_span(
            name, _context(parent), attributes=attributes, start_time=round(begun_s * 1e9)
        )
        span.end(round(max(begun_s, ended_s) * 1e9))

    def load(self) -> None:
        """Import what recording needs, for children that are forked."""
        if self.on:
            import opentelemetry.exporter.otlp.proto.http.trace_exporter
            import opentelemetry.sdk.trace.export  # noqa: F401

    def close(self) -> None:
        """Send what is left. A collector that is away is given up after its time-out."""
        if "_provider" in self.__dict__:
            self._provider.shutdown()

    @cached_property
    def _tracer(self) -> Tracer:
        return self._provider.get_tracer("servewright") if self.on else NoOpTracer()

    @cached_property
    def _provider(self) -> TracerProvider:
        """Made at the first span: its thread would not come along into a forked child."""
        from opentelemetry.sdk.resources import Resource
        from opentelemetry.sdk.trace import TracerProvider
        from opentelemetry.sdk.trace.export import BatchSpanProcessor

        about = {"service.version": _version()}
        if not os.environ.get("OTEL_SERVICE_NAME"):
            about["service.name"] = "servewright"
        provider = TracerProvider(resource=Resource.create(about), shutdown_on_exit=False)
        provider.add_span_processor(BatchSpanProcessor(self._exporter or _otlp()))
        return provider


def _otlp() -> SpanExporter:
    from opentelemetry.exporter.otlp.proto.http.trace_exporter import OTLPSpanExporter

    given = any(os.environ.get(name) for name in TIMEOUTS)
    return OTLPSpanExporter(timeout=None if given else TIMEOUT_S)


def _version() -> str:
    try:
        return version("servewright")
    except PackageNotFoundError:
        return "run from the source tree"


def failed(span: Span, code: str) -> None:
    """Mark a span as failed, by a code of ours."""
    span.set_attribute("error.type", code)
    span.set_status(Status(StatusCode.ERROR))
