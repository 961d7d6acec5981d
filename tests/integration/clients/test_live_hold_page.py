"""The page of a hold watched live, in Chromium, with a film before its camera."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import av
import cv2
import numpy as np
import pytest

from tests.integration.clients.conftest import Running
from tests.unit.report.browser import Browser, chromium
from tests.unit.report.test_in_browser import LOWEST_CONTRAST, SMALLEST_TEXT, STICKING_OUT
from workers.processes.hold_server import HoldServer

pytestmark = pytest.mark.skipif(
    chromium() is None, reason="needs Chromium (Debian: apt-get install chromium)"
)
STORY = Path(__file__).resolve().parents[2] / "data" / "story" / "006.mp4"
TEXT = "document.getElementById('{}').textContent"


@pytest.fixture
def more_settings() -> dict[str, Any]:
    return {"live_hold": True}


@pytest.fixture(scope="module")
def before_the_camera(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The held load of the story as a camera gives it: JPEG after JPEG, 30 a second, for ever."""
    path = tmp_path_factory.mktemp("camera") / "hold.mjpeg"
    with av.open(str(STORY)) as container, path.open("wb") as file:
        for frame in container.decode(video=0):
            pixels = np.asarray(frame.to_ndarray(format="bgr24"), np.uint8)
            good, data = cv2.imencode(".jpg", pixels, [cv2.IMWRITE_JPEG_QUALITY, 85])
            assert good
            file.write(data.tobytes())
    return path


@pytest.fixture
def browser(before_the_camera: Path) -> Iterator[Browser]:
    with Browser(
        "--use-fake-device-for-media-stream",
        "--use-fake-ui-for-media-stream",
        f"--use-file-for-fake-video-capture={before_the_camera}",
        "--autoplay-policy=no-user-gesture-required",
    ) as running:
        yield running


@pytest.fixture
def watched(running: Running) -> Iterator[Running]:
    with HoldServer(running.wired.settings.live_hold_socket, 1) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield running
        server.shutdown()


def test_a_held_load_is_shown_as_it_is_held(watched: Running, browser: Browser) -> None:
    browser.visit(f"{watched.url}/hold", 360)
    assert browser.evaluate(SMALLEST_TEXT) >= 12
    assert browser.evaluate(LOWEST_CONTRAST)[0] >= 4.5
    assert not browser.evaluate(STICKING_OUT)
    browser.evaluate(f"document.getElementById('key').value = '{watched.key}'")
    browser.evaluate("document.getElementById('start').click()")
    browser.until(f"parseFloat({TEXT.format('held')}) >= 0.5", seconds=90)
    share = int(str(browser.evaluate(TEXT.format("share"))).split()[0])
    assert 60 <= share <= 90  # true: 64 per cent, read with a standard deviation of 11
    assert browser.evaluate("document.getElementById('fill').className") == "held"
    assert "Hold it there." in str(browser.evaluate(TEXT.format("state")))
    browser.evaluate("document.getElementById('start').click()")
    browser.until(f"{TEXT.format('state')} === 'Stopped.'")


def test_a_wrong_key_is_told(watched: Running, browser: Browser) -> None:
    browser.visit(f"{watched.url}/hold", 1280)
    browser.evaluate("document.getElementById('key').value = 'sw_nobody'")
    browser.evaluate("document.getElementById('start').click()")
    browser.until(f"{TEXT.format('state')} === 'This key is not known.'")
