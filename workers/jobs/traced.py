"""What an attempt leaves in the trace of its work: its wait in the queue, itself, its stages."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager

from opentelemetry.trace import Span, SpanKind

from service.core.claims import Claim
from service.core.traces import carried, failed
from service.core.wiring import Wiring
from workers.jobs.lease import Lease


@contextmanager
def traced(wiring: Wiring, claim: Claim) -> Iterator[Span]:
    """Let the span of a claimed attempt run; the wait before it lies beside it."""
    about = {
        "servewright.kind": claim.kind.value,
        "servewright.work_id": claim.work_id,
        "servewright.attempt": claim.attempt,
        "servewright.tenant_id": claim.tenant_id,
    }
    # Both moments by the database's clock: a requeued attempt waits from when it was sent again.
    waited_s = (claim.now - claim.queued_at).total_seconds()
    now = time.time()
    wiring.traces.note("queue", claim.traceparent, now - waited_s, now, about)
    name = f"{claim.kind.value} attempt"
    with wiring.traces.span(name, claim.traceparent, SpanKind.CONSUMER, about) as span:
        yield span


def trace_end(wiring: Wiring, span: Span, lease: Lease, outcome: str) -> None:
    """Add to the span of an attempt how it ended, and below it the stages it went through.

    Parameters
    ----------
    outcome : str
        ``completed``, or the code of what ended it.
    """
    span.set_attribute("servewright.outcome", outcome)
    if outcome != "completed":
        failed(span, outcome)
    epoch = time.time() - time.monotonic()
    for stage, begun, ended in lease.stretches():
        wiring.traces.note(f"stage {stage.value}", carried(), epoch + begun, epoch + ended)
