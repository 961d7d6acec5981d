"""The two loops that any process may carry: the reconciler and the webhook sender."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable

from models.contract.errors import DependencyError
from service.core.reconciler import Reconciler
from service.core.sender import Sender

logger = logging.getLogger(__name__)


class Background:
    """Threads that run until stopped. A dependency that is away is waited for."""

    def __init__(
        self, reconciler: Reconciler, reconcile_s: float, sender: Sender, send_s: float
    ) -> None:
        self._stop = threading.Event()
        self._threads = [
            threading.Thread(target=self._loop, args=(task, wait), name=name, daemon=True)
            for name, task, wait in (
                ("reconciler", reconciler.run_if_elected, reconcile_s),
                ("webhook-sender", lambda: sender.serve(self._stop, send_s), send_s),
            )
        ]

    def start(self) -> None:
        """Start the loops."""
        for thread in self._threads:
            thread.start()

    def stop(self, timeout_s: float = 20.0) -> None:
        """Stop after the round that is running."""
        self._stop.set()
        for thread in self._threads:
            if thread.is_alive():
                thread.join(timeout_s)

    def _loop(self, task: Callable[[], object], wait_s: float) -> None:
        while not self._stop.is_set():
            try:
                task()
            except DependencyError as error:
                logger.warning("%s: %s", threading.current_thread().name, error.code)
            except Exception:
                logger.exception("%s failed; going on", threading.current_thread().name)
            self._stop.wait(wait_s)
