"""A short rendered film around contact with exact truth, and the networks, opened once."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from workers.pose.choice import Networks, open_networks

DATA = Path(__file__).parents[2] / "data" / "pose"


@dataclass(frozen=True)
class Still:
    """A decoded frame."""

    index: int
    time_s: float
    rgb: np.ndarray


@pytest.fixture(scope="session")
def truth() -> dict[str, Any]:
    return json.loads((DATA / "truth.json").read_text())


@pytest.fixture(scope="session")
def crop_picture() -> np.ndarray:
    bgr = cv2.imread(str(DATA / "serve_crop.png"))
    assert bgr is not None
    return cv2.cvtColor(bgr, cv2.COLOR_BGR2RGB)


@pytest.fixture(scope="session")
def contact_film() -> list[Still]:
    capture = cv2.VideoCapture(str(DATA / "contact.mp4"), cv2.CAP_FFMPEG)
    frames = []
    while True:
        ok, bgr = capture.read()
        if not ok:
            return frames
        rgb = cv2.cvtColor(bgr, cv2.COLOR_BGR2RGB)
        frames.append(Still(len(frames), len(frames) / 30.0, rgb))


@pytest.fixture(scope="session")
def networks() -> Networks:
    return open_networks()
