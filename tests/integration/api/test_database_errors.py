"""Errors of the database: what is told to callers and to the log."""

from __future__ import annotations

import pytest
from fastapi import FastAPI
from sqlalchemy.exc import IntegrityError

from service.api import problems
from tests.integration.api.conftest import TestClient

QUOTED_ROW = "DETAIL:  Key (tenant_id, external_id)=(main, member-4711) already exists."


def test_a_database_error_is_logged_without_the_row_it_quotes(
    caplog: pytest.LogCaptureFixture,
) -> None:
    app = FastAPI()
    problems.install(app)

    @app.get("/")
    def fail() -> None:
        raise IntegrityError("INSERT INTO players …", {}, Exception(QUOTED_ROW))

    reply = TestClient(app).get("/")
    assert reply.status_code == 500
    assert "member-4711" not in caplog.text + reply.text
    assert "IntegrityError" in caplog.text
    assert "in fail" in caplog.text
