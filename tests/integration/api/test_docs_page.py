"""The API description for people: what stands beside each call, and the page on a phone."""

from __future__ import annotations

import shlex
from pathlib import Path

import httpx
import pytest
from fastapi import FastAPI

from service.core.principal import Scope
from service.core.settings import Settings
from tests.integration.api.test_openapi import operations
from tests.unit.report.browser import Browser, chromium

TOP = """(selector) => {
  const box = document.querySelector(selector).getBoundingClientRect();
  return [box.top, box.left, box.width, box.height];
}"""


def test_each_call_says_scope_limit_when_to_repeat_and_a_line(app: FastAPI) -> None:
    scopes = {scope.value for scope in Scope}
    for method, path, operation in operations(app.openapi()):
        said = operation["description"]
        assert "Again: " in said, path
        keyed = bool(operation.get("security"))
        named = {word for word in scopes if f"Scope `{word}`" in said}
        assert len(named) == (1 if keyed else 0), (method, path)
        if "requestBody" in operation:
            assert "Limit: " in said, path
        (sample,) = operation["x-codeSamples"]
        words = shlex.split(sample["source"])
        assert words[0] == "curl"
        assert words[-1].startswith("https://serve.example.org/")
        assert "{" not in words[-1]
        assert ("Authorization: Bearer $KEY" in words) == keyed
        sent = method.upper() if method != "get" else None
        assert (words[words.index("-X") + 1] if "-X" in words else None) == sent


def test_a_line_of_curl_is_a_request_that_is_understood(client: httpx.Client, app: FastAPI) -> None:
    """Sent as it stands: what it is about is not there, but nothing in it is wrong."""
    for _, path, operation in operations(app.openapi()):
        words = shlex.split(operation["x-codeSamples"][0]["source"])
        if "-F" in words or "--data-binary" in words or not operation.get("security"):
            continue
        headers = dict(
            words[index + 1].split(": ", 1)
            for index, word in enumerate(words)
            if word == "-H" and "$" not in words[index + 1]
        )
        reply = client.request(
            words[words.index("-X") + 1] if "-X" in words else "GET",
            words[-1].removeprefix("https://serve.example.org"),
            headers=headers,
            content=words[words.index("-d") + 1] if "-d" in words else None,
        )
        code = reply.json()["code"] if reply.status_code >= 400 else ""
        assert code not in ("invalid_request", "malformed_request", "unsupported_media_type"), (
            path,
            reply.text,
        )


def test_limits_are_those_of_the_installation(settings: Settings) -> None:
    from service.api.app import create_app

    own = {"max_clip_bytes": 300 * 1024**2, "limit_requests_per_minute": 90}
    app = create_app(settings.model_copy(update=own))
    said = app.openapi()["paths"]["/v1/clips"]["post"]["description"]
    app.state.wiring.close()
    assert "300 MiB" in said
    assert "90 requests a minute" in said


@pytest.mark.skipif(chromium() is None, reason="Chromium is not installed")
def test_the_page_begins_with_content_on_a_phone(anonymous: httpx.Client, tmp_path: Path) -> None:
    page = tmp_path / "docs.html"
    page.write_bytes(anonymous.get("/docs").content)
    with Browser() as browser:
        browser.open(page, 360)
        heading, call, contents = (
            browser.evaluate(f"({TOP})('{selector}')") for selector in ("h1", "article", "nav")
        )
        assert heading[0] < 100
        assert call[0] < contents[0]  # what can be called comes before the list of it all
        assert browser.evaluate("document.documentElement.scrollWidth") <= 360
        link = browser.evaluate("document.querySelector('.narrow a').getAttribute('href')")
        assert browser.evaluate(f"document.querySelector('{link}').tagName") == "NAV"
        browser.open(page, 1280)
        heading, contents = (
            browser.evaluate(f"({TOP})('{selector}')") for selector in ("h1", "nav")
        )
        assert contents[0] <= heading[0]
        assert contents[1] + contents[2] <= heading[1]  # beside it, on the left
        assert browser.evaluate("getComputedStyle(document.querySelector('.narrow')).display") == (
            "none"
        )
