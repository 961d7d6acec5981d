"""The package ``servewright_client`` against a service that runs."""

from __future__ import annotations

import hashlib
import threading
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import httpx
import pytest
from servewright_client import (
    Clip,
    ConflictError,
    Endpoint,
    Event,
    GuestLink,
    Player,
    Servewright,
    Session,
    SignatureError,
    Upload,
    Work,
    verify_webhook,
)

from models.contract.coaching import DerivedResource, PlayerResource, SessionResource
from models.contract.intake import IntakeLinkCreated
from models.contract.resources import AnalysisResource, ClipResource, WebhookEndpointCreated
from models.contract.shares import ShareLinkCreated
from models.contract.uploads import UploadResource
from tests.films import write_film
from tests.integration.clients import package_story
from tests.integration.clients.conftest import FREE_BOX, Running
from tests.integration.clients.cutting import cutting_line
from tests.unit.report.conftest import Case


def test_story_is_told(
    running: Running,
    films: tuple[Path, Path],
    case: Case,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    package_story.tell(running.url, running.key, films, tmp_path, [])
    told = dict(line.split(": ", 1) for line in capsys.readouterr().out.splitlines())
    repetition = case.analysis.repetitions[0]
    assert int(told.pop("compared")) > 5
    assert told == {
        "repetitions": str(len(case.analysis.repetitions)),
        "events": " ".join(repetition.events),
        "measured": str(sum(metric.measurable for metric in repetition.metrics)),
        "clips": "2",
        "film": "True",
        "report": "True",
        "analyses": "2",
        "erased": "True 2 clips",
        "after erasing": "not_found",
    }


def test_film_arrives_through_a_line_that_breaks(running: Running, tmp_path: Path) -> None:
    film = tmp_path / "long.mp4"
    film.write_bytes(write_film(tmp_path / "short.mp4", 3).read_bytes() + FREE_BOX * 400_000)
    waits: list[float] = []
    lasts = [200, 700_000, 50_000, 1_200_000, 300]
    with (
        cutting_line(running.url, lasts) as line,
        Servewright(line.url, running.key, piece_bytes=1 << 20, sleep=waits.append) as servewright,
    ):
        analysis = servewright.measure(film, height_m=1.83)
        clip = servewright.clip(analysis.raw["clip_id"])
        # a piece may begin before what was cut off is stored: refused, on a line that then closes
        assert line.cuts in (4, 5)
        digest = hashlib.sha256(film.read_bytes()).hexdigest()
        assert (clip.size_bytes, clip.sha256) == (film.stat().st_size, digest)
        kept = servewright.save(clip, "content", tmp_path / "kept.mp4")
        assert hashlib.sha256(kept.read_bytes()).hexdigest() == digest
        assert servewright.wait(analysis).status == "completed"
        assert len(list(servewright.clips())) == 1
    assert len(waits) >= 5


@pytest.mark.parametrize(
    ("mine", "theirs"),
    [
        (Player, PlayerResource),
        (Session, SessionResource),
        (Clip, ClipResource),
        (Upload, UploadResource),
        (Endpoint, WebhookEndpointCreated),
        (Work, AnalysisResource),
        (GuestLink, IntakeLinkCreated),
        (GuestLink, ShareLinkCreated),
    ],
)
def test_members_are_those_of_the_contract(mine: type, theirs: type) -> None:
    own = set(mine.__dataclass_fields__) - {"raw", "etag"}
    assert own - set(theirs.model_fields) == set()


def test_documents_are_work_too() -> None:
    assert {"id", "links", "status", "progress", "headline", "problem"} <= set(
        DerivedResource.model_fields
    )


class Inbox:
    """Takes webhooks on this machine and verifies them with the secrets it was told."""

    def __init__(self) -> None:
        self.secrets: list[str] = []
        self.events: list[Event] = []
        self.refused = 0
        self.news = threading.Condition()
        inbox = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers["content-length"]))
                with inbox.news:
                    try:
                        inbox.events.append(verify_webhook(inbox.secrets, self.headers, body))
                        self.send_response(204)
                    except SignatureError:
                        inbox.refused += 1
                        self.send_response(401)
                    inbox.news.notify_all()
                self.send_header("content-length", "0")
                self.end_headers()

            def log_message(self, format: str, *args: object) -> None:
                pass

        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.url = f"http://127.0.0.1:{self.server.server_address[1]}/"
        threading.Thread(target=self.server.serve_forever, daemon=True).start()

    def wait_for(self, count: int) -> None:
        with self.news:
            assert self.news.wait_for(lambda: len(self.events) >= count, 30), self.refused


@pytest.fixture
def inbox() -> Iterator[Inbox]:
    made = Inbox()
    yield made
    made.server.shutdown()
    made.server.server_close()


def test_webhooks_are_verified_while_the_secret_is_replaced(running: Running, inbox: Inbox) -> None:
    with Servewright(running.url, running.key) as servewright:
        endpoint = servewright.create_endpoint(inbox.url)
        with pytest.raises(ConflictError) as caught:
            servewright.create_endpoint(inbox.url)
        assert (caught.value.code, caught.value.about) == ("endpoint_exists", endpoint.id)
        former = str(endpoint.secret)
        inbox.secrets = [former]
        servewright.call("POST", f"{endpoint.links['self']}/test")
        inbox.wait_for(1)
        new = str(servewright.rotate_secret(endpoint.id).secret)
        assert new != former
        for count, known in enumerate(([former], [new], [new, former]), 2):
            inbox.secrets = known
            servewright.call("POST", f"{endpoint.links['self']}/test")
            inbox.wait_for(count)
        assert inbox.refused == 0
        assert {event.type for event in inbox.events} == {"webhook.test"}
        assert len({event.id for event in inbox.events}) == 4
        assert [one.id for one in servewright.endpoints()] == [endpoint.id]
        servewright.delete_endpoint(endpoint.id)
        assert list(servewright.endpoints()) == []


def test_people_without_a_key_are_let_in_and_out(
    running: Running, films: tuple[Path, Path]
) -> None:
    with Servewright(running.url, running.key) as servewright:
        player = servewright.create_player("member-l")
        asks = servewright.invite(
            "Harbour Tennis Club", "Films are erased after a year.", "1", player_id=player.id
        )
        done = servewright.wait(servewright.measure(films[0], height_m=1.83))
        shown = servewright.share(done, expires_in_days=1)
        with httpx.Client(timeout=60, trust_env=False) as anybody:
            for link, file in ((asks, "invitation"), (shown, "report.html")):
                assert (link.state, link.expires_at is not None) == ("open", True)
                address = f"{link.url}/{file}"
                assert anybody.get(address).status_code == 200
                servewright.revoke(link)
                assert anybody.get(address).status_code == 410
