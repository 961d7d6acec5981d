"""A large film by the tus protocol through a line that is cut, to a server that is killed.

The suite sends less than 1 GB. To measure with it, and print what was found:
``SERVEWRIGHT_TEST_UPLOAD_BYTES=1000000000 pytest -s tests/faults/test_cut_uploads.py``.
"""

from __future__ import annotations

import hashlib
import os
import random
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import boto3
import httpx
import pytest

from service.core.parts import PART_BYTES
from service.core.settings import PREFIX, TEST_PREFIX, Settings
from service.core.wiring import wire
from tests.faults.conftest import until
from tests.integration.api.conftest import film
from tests.integration.api.live import Line
from tests.integration.api.tus_client import PART, SPOKEN
from workers.processes import tether

pytestmark = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="reads /proc")
SIZE = int(os.environ.get(TEST_PREFIX + "UPLOAD_BYTES", "100000000"))
CUTS = (0.1, 0.25, 0.45, 0.7, 0.9)
"""Where the line is cut, as shares of the film."""
KILL = 0.55
"""Where the server is killed."""
GROWTH = 50 * 1024**2
"""Most memory that the server may take more than when it had served a small film, bytes."""


def in_buffers() -> int:
    """Return how many bytes may be under way when a line breaks: in the server's buffers, and in
    those that Linux gives the sockets of server and line.
    """
    kernel = [Path(f"/proc/sys/net/ipv4/tcp_{way}mem").read_text().split() for way in "rw"]
    return 3 * PART_BYTES + sum(int(sizes[-1]) for sizes in kernel)


class Api:
    """The API in a process of its own, which can be killed and started again."""

    def __init__(self, settings: Settings, log: Path) -> None:
        with socket.create_server(("127.0.0.1", 0)) as free:
            self.port = int(free.getsockname()[1])
        kept = {name: value for name, value in os.environ.items() if PREFIX not in name}
        self._environment = kept | environment(settings)
        self._log = log
        self._process: subprocess.Popen[bytes] | None = None
        self.peaks: list[int] = []

    def start(self) -> None:
        """Start it and wait until it answers."""
        command = tether.module("workers.cli", "api", "--port", str(self.port))
        with self._log.open("ab") as output:
            self._process = tether.spawn(
                command, environment=self._environment, output=output.fileno()
            )
        until(self._answers, 60, "the API")

    def _answers(self) -> bool:
        try:
            return httpx.get(f"http://127.0.0.1:{self.port}/livez").status_code == 200
        except httpx.TransportError:
            return False

    def memory(self, what: str) -> int:
        """Return VmRSS (now) or VmHWM (most so far) of the process, bytes."""
        assert self._process is not None
        status = Path(f"/proc/{self._process.pid}/status").read_text()
        line = next(line for line in status.splitlines() if line.startswith(what))
        return 1024 * int(line.split()[1])

    def kill(self) -> None:
        """End it without warning."""
        assert self._process is not None
        self.peaks.append(self.memory("VmHWM"))
        self._process.send_signal(signal.SIGKILL)
        self._process.wait()


def environment(settings: Settings) -> dict[str, str]:
    """Return the variables of these settings."""
    found = {
        "DATA_DIR": str(settings.data_dir),
        "DATABASE_URL": settings.database_address,
        "REDIS_URL": settings.redis_address,
        "QUEUE_NAME": settings.queue_name or "",
    }
    if settings.object_store == "s3":
        found |= {
            "OBJECT_STORE": "s3",
            "S3_BUCKET": settings.s3_bucket or "",
            "S3_ENDPOINT_URL": settings.s3_endpoint_url or "",
            "S3_ACCESS_KEY_ID": "test",
            "S3_SECRET_ACCESS_KEY": "test",
        }
    return {PREFIX + name: value for name, value in found.items()}


@pytest.fixture(params=["folder", "s3"])
def stored(request: pytest.FixtureRequest, settings: Settings, s3_server: str) -> Settings:
    """Return settings of a service with either object store."""
    if request.param == "folder":
        return settings
    keys = {"aws_access_key_id": "test", "aws_secret_access_key": "test"}
    client = boto3.client("s3", endpoint_url=s3_server, region_name="us-east-1", **keys)
    client.create_bucket(Bucket="cut-uploads")
    changed = {"object_store": "s3", "s3_bucket": "cut-uploads", "s3_endpoint_url": s3_server}
    values = {"s3_access_key_id": "test", "s3_secret_access_key": "test", **changed}
    return Settings.model_validate({**settings.model_dump(), **values})


@pytest.fixture
def api(stored: Settings, tmp_path: Path) -> Iterator[Api]:
    one = Api(stored, tmp_path / "api.log")
    one.start()
    yield one
    one.kill()


def write_film(path: Path, size: int) -> str:
    """Write a film of a size; return its SHA-256."""
    chance = random.Random(11)
    digest = hashlib.sha256()
    with path.open("wb") as output:
        left, piece = size, film(b"")
        while left > 0:
            piece = piece[:left]
            output.write(piece)
            digest.update(piece)
            left -= len(piece)
            piece = chance.randbytes(1 << 20)
    return digest.hexdigest()


def rest_of(path: Path, first: int) -> Iterator[bytes]:
    with path.open("rb") as source:
        source.seek(first)
        while piece := source.read(1 << 18):
            yield piece


def send(client: httpx.Client, where: str, path: Path, first: int) -> bool:
    """Send all from a byte on; return whether it was taken.

    It is not where the server had kept more of the connection before than it had told (409): then
    it closes, with or without the client hearing its answer.
    """
    headers = {**SPOKEN, "content-type": PART, "upload-offset": str(first)}
    try:
        reply = client.patch(where, content=rest_of(path, first), headers=headers, timeout=600)
    except httpx.TransportError:
        return False
    assert reply.status_code in (204, 409), reply.text
    return reply.status_code == 204


def send_until_cut(
    client: httpx.Client, line: Line, where: str, path: Path, first: int, end: int
) -> int:
    """Send from a byte on until the line breaks at another; return how far it came."""
    while first < end:
        line.carried, line.cut_after = 0, end - first
        assert not send(client, where, path, first)
        if line.cut_after is None:
            return first + line.carried
        line.cut_after = None
        first = stands_at(client, where)
    return first


def stands_at(client: httpx.Client, where: str) -> int:
    """Ask until the server answers."""
    answers: list[int] = []

    def answered() -> bool:
        try:
            reply = client.head(where, headers=SPOKEN)
        except httpx.TransportError:
            return False
        assert reply.status_code == 200
        answers.append(int(reply.headers["upload-offset"]))
        return True

    until(answered, 60, "an answer")
    return answers[-1]


def test_a_large_film_survives_cuts_and_a_killed_server(
    api: Api, stored: Settings, tmp_path: Path, request: pytest.FixtureRequest
) -> None:
    wired = wire(stored)
    key = wired.keys.add("large films")
    small, large = tmp_path / "small.mp4", tmp_path / "large.mp4"
    line = Line(api.port)
    sent_again, grown = 0, []
    with httpx.Client(
        base_url=f"http://127.0.0.1:{line.port}", headers={"authorization": f"Bearer {key}"}
    ) as client:

        def begin(path: Path, size: int) -> tuple[str, str]:
            digest = write_film(path, size)
            headers = {**SPOKEN, "upload-length": str(size)}
            return client.post("/v1/uploads", headers=headers).headers["location"], digest

        def warm() -> int:
            """Return what the server takes once it has served a small film."""
            assert send(client, begin(small, 5 * 1024**2)[0], small, 0)
            return api.memory("VmRSS")

        before = warm()
        where, digest = begin(large, SIZE)
        at, breaks = 0, sorted([*((share, False) for share in CUTS), (KILL, True)])
        for share, kills in breaks:
            reached = send_until_cut(client, line, where, large, at, int(share * SIZE))
            if kills:
                grown.append(api.memory("VmHWM") - before)
                api.kill()
                api.start()
                before = warm()
            at = stands_at(client, where)
            assert reached - in_buffers() <= at <= reached
            sent_again += reached - at
        while not send(client, where, large, at):
            at = stands_at(client, where)
        shown = client.get(where).json()
        assert (shown["state"], shown["received"]) == ("finished", SIZE)
        grown.append(api.memory("VmHWM") - before)
        clip = client.get(shown["links"]["clip"]).json()
    assert clip["sha256"] == digest
    found = hashlib.sha256()
    with wired.objects.open(f"clips/{clip['id']}/film") as stream:
        while piece := stream.read(1 << 20):
            found.update(piece)
    assert found.hexdigest() == digest
    assert not [info.key for info in wired.objects.list("uploads")]
    print(
        f"\n{request.node.name}: {SIZE / 1e6:.0f} MB, {line.cuts} cuts, 1 kill; "
        f"sent again {sent_again / 1e6:.1f} MB; "
        f"API grew by {', '.join(f'{one / 1e6:.1f}' for one in grown)} MB"
    )
    assert max(grown) <= GROWTH
    line.close()
    wired.close()
