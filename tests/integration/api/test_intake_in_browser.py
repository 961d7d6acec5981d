"""The page of an intake link in a real browser, on a phone's width and a phone's network."""

from __future__ import annotations

import hashlib
import json
import random
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest
from fastapi import FastAPI
from sqlalchemy import select

from service.core.tables import ResumableUpload
from service.core.wiring import Wiring
from tests.integration.api.conftest import film
from tests.integration.api.live import Line, served, until
from tests.integration.api.test_intake_links import GIVEN, new_link
from tests.unit.report.browser import Browser, chromium

pytestmark = pytest.mark.skipif(chromium() is None, reason="Chromium is not installed")
PHONE = 360
SLOW = 400_000
"""Bytes a second of a poor mobile network (working value)."""


@pytest.fixture
def line(app: FastAPI, client: httpx.Client) -> Iterator[Line]:
    """Return a line to the API."""
    with served(app) as port:
        made = Line(port)
        yield made
        made.close()


@pytest.fixture
def browser() -> Iterator[Browser]:
    with Browser() as one:
        yield one


def open_page(browser: Browser, line: Line, link: dict[str, Any], language: str = "en") -> None:
    browser.call("Network.setExtraHTTPHeaders", headers={"Accept-Language": language})
    browser.visit(f"http://127.0.0.1:{line.port}{link['url']}", PHONE)


def agree(browser: Browser) -> None:
    browser.evaluate(
        f"""(() => {{
        const form = document.getElementById("agree");
        form.elements.given_by.value = "guardian";
        form.elements.name.value = {json.dumps(GIVEN["name"])};
        form.elements.read.checked = true;
        form.querySelector("button").click();
        }})()"""
    )
    until(lambda: browser.evaluate("!document.getElementById('sending').hidden"))


def told(browser: Browser) -> list[str]:
    """Return what is said of each film."""
    found = browser.evaluate(
        "JSON.stringify([...document.querySelectorAll('#films .told')].map(e => e.textContent))"
    )
    return list(json.loads(found))


def share(browser: Browser, which: int = 0) -> float:
    return float(browser.evaluate(f"document.querySelectorAll('#films progress')[{which}].value"))


def press(browser: Browser, which: int = 0) -> None:
    browser.evaluate(f"document.querySelectorAll('#films button')[{which}].click()")


def a_film(folder: Path, name: str, size: int) -> Path:
    path = folder / name
    path.write_bytes(film(random.Random(name).randbytes(size)))
    return path


def assert_arrived(client: httpx.Client, *films: Path) -> None:
    there = {one["sha256"] for one in client.get("/v1/clips").json()["items"]}
    assert there == {hashlib.sha256(path.read_bytes()).hexdigest() for path in films}


@pytest.mark.parametrize("language", ["en", "de"])
def test_it_fits_a_phone(client: httpx.Client, line: Line, browser: Browser, language: str) -> None:
    link = new_link(client, label="Tennisvereinigung Donaudampfschifffahrtsufer")
    open_page(browser, line, link, language)
    for agreed in (False, True):
        if agreed:
            agree(browser)
        assert browser.evaluate("document.documentElement.scrollWidth") <= PHONE
        small = browser.evaluate(
            "[...document.querySelectorAll('button')].filter(e => e.offsetParent)"
            ".filter(e => e.getBoundingClientRect().height < 44).length"
        )
        assert small == 0  # WCAG 2.2, target size (enhanced): 44 CSS pixels
    assert browser.evaluate("document.documentElement.lang") == language
    assert browser.complaints() == []
    assert {url.split("/")[2] for url in browser.requests()} == {f"127.0.0.1:{line.port}"}


def test_pause_throttle_and_cuts(
    client: httpx.Client, line: Line, browser: Browser, tmp_path: Path
) -> None:
    first, second = a_film(tmp_path, "one.mp4", 1_500_000), a_film(tmp_path, "two.mov", 300_000)
    open_page(browser, line, new_link(client))
    agree(browser)
    browser.network(bytes_a_second=SLOW)
    browser.choose_file("#choose", first, second)
    until(lambda: share(browser) > 0.05)
    press(browser)
    until(lambda: told(browser)[0].startswith("Paused"))
    until(lambda: told(browser)[1].startswith("Arrived"))  # the other one goes on meanwhile
    press(browser)
    before = share(browser)
    for _ in range(3):
        before = until(lambda at=before: share(browser) > at + 0.05 and share(browser))
        line.cut()
    browser.network()
    until(lambda: told(browser)[0].startswith("Arrived"))
    assert line.cuts >= 3
    assert_arrived(client, first, second)


def test_offline_for_a_while(
    client: httpx.Client, line: Line, browser: Browser, tmp_path: Path
) -> None:
    path = a_film(tmp_path, "one.mp4", 1_000_000)
    open_page(browser, line, new_link(client), "de")
    agree(browser)
    browser.network(bytes_a_second=SLOW)
    browser.choose_file("#choose", path)
    until(lambda: share(browser) > 0.1)
    line.down = True
    line.cut()
    until(lambda: told(browser)[0].startswith("Keine Verbindung"))
    line.down = False
    browser.network()
    until(lambda: told(browser)[0].startswith("Angekommen"))
    assert_arrived(client, path)


def test_after_a_reload_the_same_film_goes_on(
    client: httpx.Client, line: Line, browser: Browser, wired: Wiring, tmp_path: Path
) -> None:
    path = a_film(tmp_path, "one.mp4", 2_000_000)
    link = new_link(client)
    open_page(browser, line, link)
    agree(browser)
    browser.network(bytes_a_second=SLOW)
    browser.choose_file("#choose", path)
    until(lambda: share(browser) > 0.2)
    open_page(browser, line, link)
    until(lambda: browser.evaluate("!document.getElementById('sending').hidden"))
    assert "not all there yet" in browser.evaluate("document.getElementById('message').textContent")
    line.carried = 0
    browser.network()
    browser.choose_file("#choose", path)
    until(lambda: told(browser)[0].startswith("Arrived"))
    assert line.carried < 1_900_000  # not all of it again
    assert_arrived(client, path)
    with wired.database.read() as session:
        assert len(session.scalars(select(ResumableUpload)).all()) == 1


def test_what_is_no_film_is_said(
    client: httpx.Client, line: Line, browser: Browser, tmp_path: Path
) -> None:
    path = tmp_path / "notes.mp4"
    path.write_bytes(b"no film at all" * 1000)
    open_page(browser, line, new_link(client, max_films=1))
    agree(browser)
    browser.choose_file("#choose", path)
    until(lambda: "not" in told(browser)[0].lower() and "MB" not in told(browser)[0])
    good, more = a_film(tmp_path, "one.mp4", 50_000), a_film(tmp_path, "two.mp4", 50_000)
    browser.choose_file("#choose", good)  # the refused one left its place
    until(lambda: told(browser)[1].startswith("Arrived"))
    browser.choose_file("#choose", more)
    until(lambda: "takes 1 films" in told(browser)[2])
    assert_arrived(client, good)
