"""Liveness and readiness."""

from __future__ import annotations

import threading
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from concurrent.futures import TimeoutError as FutureTimeout

from fastapi import APIRouter, Request, Response

from models.contract.errors import ServewrightError
from models.contract.health import Alive, Check, Readiness
from service.api.dependencies import Wired
from service.api.routing import get_and_head
from service.core.database import revision_present, revision_wanted
from service.core.wiring import Wiring

router = APIRouter(tags=["health"])
CHECK_S = 1.0
"""Longest wait for one answer of what the service needs, seconds."""


class HealthProbe:
    """Runs the checks side by side, each with its own time limit.

    A check that hangs keeps its thread; until it ends no second one is started for it.
    """

    def __init__(self, wired: Wiring) -> None:
        self._checks: dict[str, Callable[[], str | None]] = {
            "database": wired.database.ping,
            "schema": lambda: _schema(wired),
            "queue": wired.queue.ping,
            "objects": wired.objects.ping,
        }
        self._pool = ThreadPoolExecutor(len(self._checks), thread_name_prefix="readiness")
        self._running: dict[str, Future[str | None]] = {}
        self._lock = threading.Lock()

    def run(self) -> Readiness:
        """Return the outcome of all checks."""
        with self._lock:
            for name, check in self._checks.items():
                earlier = self._running.get(name)
                if earlier is None or earlier.done():
                    self._running[name] = self._pool.submit(check)
            running = dict(self._running)
        checks = {name: _outcome(future) for name, future in running.items()}
        return Readiness(ready=all(check.ok for check in checks.values()), checks=checks)

    def close(self) -> None:
        """Let the threads end."""
        self._pool.shutdown(wait=False)


def _schema(wired: Wiring) -> str | None:
    present, wanted = revision_present(wired.database), revision_wanted()
    if present == wanted:
        return None
    return f"database is at {present or 'no migration'}, {wanted} is needed: servewright migrate"


def _outcome(future: Future[str | None]) -> Check:
    try:
        complaint = future.result(CHECK_S)
    except FutureTimeout:
        return Check(ok=False, detail=f"no answer within {CHECK_S:g} s")
    except ServewrightError as error:
        return Check(ok=False, detail=error.detail)
    except Exception as error:
        return Check(ok=False, detail=type(error).__name__)
    return Check(ok=complaint is None, detail=complaint)


@get_and_head(
    router, "/livez", operation_id="alive", summary="Is the process alive?", response_model=Alive
)
async def alive() -> Alive:
    """Answer as long as the process runs; asks nothing of anyone else."""
    return Alive()


@get_and_head(
    router,
    "/readyz",
    operation_id="ready",
    summary="Can requests be served?",
    response_model=Readiness,
    responses={503: {"model": Readiness, "description": "Something is missing; it says what."}},
)
def ready(request: Request, wired: Wired) -> Response:
    """Check database, schema version, queue and object store, each within a second."""
    readiness = request.app.state.probe.run()
    return Response(
        readiness.model_dump_json(),
        status_code=200 if readiness.ready else 503,
        media_type="application/json",
        headers={"cache-control": "no-store"},
    )
