"""The browser example on a phone's screen: a film in by a link, a shared report out."""

from __future__ import annotations

import functools
import hashlib
import threading
import time
from collections.abc import Iterator
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import httpx
import pytest
from sqlalchemy import select

from service.core.tables import Clip
from tests.films import write_film
from tests.integration.clients.conftest import FREE_BOX, Running
from tests.unit.report.browser import Browser, chromium
from tests.unit.report.test_in_browser import LOWEST_CONTRAST, SMALLEST_TEXT, STICKING_OUT

pytestmark = pytest.mark.skipif(
    chromium() is None, reason="needs Chromium (Debian: apt-get install chromium)"
)
EXAMPLES = Path(__file__).resolve().parents[3] / "infra" / "examples"
PHONE = 360
STATE = "document.getElementById('state').textContent"


@pytest.fixture(scope="module")
def site() -> Iterator[str]:
    """Return the address of a club's own site, which is another origin than the service."""

    class Handler(SimpleHTTPRequestHandler):
        def log_message(self, format: str, *args: object) -> None:
            pass

    handler = functools.partial(Handler, directory=str(EXAMPLES))
    server = ThreadingHTTPServer(("127.0.0.1", 0), handler)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield f"http://127.0.0.1:{server.server_address[1]}"
    server.shutdown()
    server.server_close()


@pytest.fixture
def more_settings(site: str) -> dict[str, Any]:
    return {"cors_origins": (site,)}


@pytest.fixture
def browser() -> Iterator[Browser]:
    with Browser() as running:
        yield running


@pytest.fixture
def owner(running: Running) -> Iterator[httpx.Client]:
    headers = {"authorization": f"Bearer {running.key}"}
    with httpx.Client(base_url=running.url, headers=headers, timeout=60, trust_env=False) as client:
        yield client


def made(reply: httpx.Response) -> dict[str, Any]:
    assert reply.status_code == 201, reply.text
    return dict(reply.json())


def invitation(owner: httpx.Client) -> str:
    """Return the address of a new intake link."""
    body = {
        "label": "Harbour Tennis Club",
        "consent": {"text": "Films are measured and erased after a year.", "version": "2026-1"},
        "analyse": {"height_m": 1.83},
        "max_films": 2,
    }
    return str(made(owner.post("/v1/intake-links", json=body))["url"])


def fill_in(browser: Browser, film: Path) -> None:
    browser.until("document.getElementById('consent').textContent")
    browser.evaluate("document.getElementById('name').value = 'Alex Example'")
    browser.evaluate("document.getElementById('agreed').click()")
    browser.choose_file("#file", film)


def stored(running: Running) -> list[tuple[int, str]]:
    with running.wired.database.read() as session:
        rows = session.scalars(select(Clip).where(Clip.state == "ready"))
        return [(row.size_bytes or 0, row.sha256 or "") for row in rows]


def test_film_arrives_though_the_network_goes_away(
    running: Running, owner: httpx.Client, browser: Browser, site: str, tmp_path: Path
) -> None:
    film = tmp_path / "serve.mp4"
    film.write_bytes(write_film(tmp_path / "short.mp4", 3).read_bytes() + FREE_BOX * 700_000)
    browser.visit(f"{site}/film_and_report.html#film={invitation(owner)}", PHONE)
    fill_in(browser, film)
    assert browser.evaluate(STICKING_OUT) == []
    assert browser.evaluate(SMALLEST_TEXT) >= 12
    assert browser.evaluate(LOWEST_CONTRAST)[0] >= 4.5  # WCAG 2.2, 1.4.3
    assert "Harbour Tennis Club" in browser.evaluate("document.body.innerText")
    (tmp_path / "form.png").write_bytes(browser.screenshot())

    browser.network(bytes_a_second=1_500_000)
    browser.evaluate("document.getElementById('go').click()")
    browser.until("document.getElementById('bar').value > 0")
    browser.network(offline=True)
    browser.until(f"{STATE}.includes('connection was lost')")
    part = browser.evaluate("document.getElementById('bar').value")
    assert 0 < part < 1
    assert stored(running) == []
    (tmp_path / "lost.png").write_bytes(browser.screenshot())
    browser.network()
    browser.until(f"{STATE}.startsWith('Thank you')", 60)
    data = film.read_bytes()
    assert stored(running) == [(len(data), hashlib.sha256(data).hexdigest())]
    ended = [one["status"] for one in owner.get("/v1/analyses").json()["items"]]
    assert len(ended) == 1


def test_closed_page_goes_on_where_it_stopped(
    running: Running, owner: httpx.Client, browser: Browser, site: str, tmp_path: Path
) -> None:
    film = tmp_path / "serve.mp4"
    film.write_bytes(write_film(tmp_path / "short.mp4", 3).read_bytes() + FREE_BOX * 500_000)
    page = f"{site}/film_and_report.html#film={invitation(owner)}"
    browser.visit(page, PHONE)
    fill_in(browser, film)
    browser.network(bytes_a_second=1_000_000)
    browser.evaluate("document.getElementById('go').click()")
    browser.until("document.getElementById('bar').value > 0")
    browser.visit("about:blank", PHONE)
    browser.network()
    browser.visit(page, PHONE)
    fill_in(browser, film)
    browser.evaluate("document.getElementById('go').click()")
    browser.until(f"{STATE}.startsWith('Thank you')", 60)
    asked = [url.rpartition("/")[2] for url in browser.requests() if "/uploads" in url]
    assert "uploads" not in asked  # none was begun anew
    assert len(set(asked)) == 1
    data = film.read_bytes()
    assert stored(running) == [(len(data), hashlib.sha256(data).hexdigest())]


def test_refusal_is_told_in_the_service_s_words(
    owner: httpx.Client, browser: Browser, site: str, tmp_path: Path
) -> None:
    text = tmp_path / "notes.mp4"
    text.write_text("no film at all " * 100)
    browser.visit(f"{site}/film_and_report.html#film={invitation(owner)}", PHONE)
    fill_in(browser, text)
    browser.evaluate("document.getElementById('go').click()")
    told = browser.until(f"{STATE}.startsWith('The film was not taken') && {STATE}")
    assert len(told) > len("The film was not taken: ")


def test_shared_report_is_shown(
    running: Running,
    owner: httpx.Client,
    browser: Browser,
    site: str,
    films: tuple[Path, Path],
    tmp_path: Path,
) -> None:
    clip = made(owner.post("/v1/clips", files={"file": films[0].read_bytes()}))
    analysis = made(owner.post("/v1/analyses", json={"clip_id": clip["id"]}))
    end = time.monotonic() + 30
    while owner.get(analysis["links"]["self"]).json()["status"] != "completed":
        assert time.monotonic() < end
        time.sleep(0.1)
    share = made(owner.post("/v1/share-links", json={"of": analysis["id"]}))
    browser.visit(f"{site}/film_and_report.html#report={share['url']}", PHONE)
    browser.until("!document.getElementById('report').hidden")
    assert "estimates from film" in browser.evaluate("document.body.innerText")
    assert browser.evaluate("document.getElementById('report').srcdoc").count("<html") == 1
    assert browser.evaluate(STICKING_OUT) == []
    (tmp_path / "report.png").write_bytes(browser.screenshot())
    assert owner.delete(share["links"]["self"]).status_code == 204
    browser.visit("about:blank", PHONE)
    browser.visit(f"{site}/film_and_report.html#report={share['url']}", PHONE)
    told = browser.until("document.querySelector('#report-state.bad')?.textContent")
    assert told
    assert browser.evaluate("document.getElementById('report').hidden")


def test_page_without_a_link_says_so(browser: Browser, site: str) -> None:
    browser.visit(f"{site}/film_and_report.html", PHONE)
    assert "needs a link" in browser.until("document.getElementById('nothing').innerText")
    assert browser.complaints() == []
