"""A service made of a function: what it is asked, and what it answers."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import httpx
import pytest
from servewright_client import Servewright

Answer = httpx.Response | Exception


@dataclass
class Script:
    """Answers one after the other; remembers the requests and the waits."""

    answers: list[Answer | Callable[[httpx.Request], httpx.Response]]
    asked: list[httpx.Request] = field(default_factory=list)
    waits: list[float] = field(default_factory=list)

    def __call__(self, request: httpx.Request) -> httpx.Response:
        request.read()
        self.asked.append(request)
        answer = self.answers.pop(0)
        if isinstance(answer, Exception):
            raise answer
        return answer if isinstance(answer, httpx.Response) else answer(request)


def problem(status: int, code: str, **more: Any) -> httpx.Response:
    """An answer as the service gives it (RFC 9457)."""
    headers = more.pop("headers", {})
    body = {"type": f"/problems/{code}", "title": code, "status": status, "code": code, **more}
    body.setdefault("detail", "Do something about it.")
    return httpx.Response(
        status, json=body, headers={"content-type": "application/problem+json", **headers}
    )


@pytest.fixture
def scripted() -> Callable[..., tuple[Servewright, Script]]:
    """Return a maker of clients whose service answers by script."""

    def make(*answers: Any, **options: Any) -> tuple[Servewright, Script]:
        script = Script(list(answers))
        client = Servewright(
            "https://serve.example.org",
            "sw_test",
            transport=httpx.MockTransport(script),
            sleep=script.waits.append,
            **options,
        )
        return client, script

    return make
