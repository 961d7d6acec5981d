from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt
import pytest

from models.contract.clip import ClipFacts, UsabilityCheck
from models.contract.vocabulary import Severity
from workers.video.usability import FrameQuality, blur_effect, frame_quality, usability_checks

GOOD = FrameQuality(blur=0.4, luma=0.45, clipped=0.01)


def board() -> npt.NDArray[np.uint8]:
    """Return a random black and white board, shape (192, 256)."""
    rng = np.random.default_rng(7)
    return (rng.integers(0, 2, (24, 32)).repeat(8, 0).repeat(8, 1) * 180 + 30).astype(np.uint8)


def checks(
    rate: float = 60.0,
    width: int = 1280,
    height: int = 720,
    qualities: tuple[FrameQuality, ...] = (GOOD,),
) -> dict[str, UsabilityCheck]:
    facts = ClipFacts(duration_s=3.0, frame_rate=rate, frames=180, width=width, height=height)
    return {check.key: check for check in usability_checks(facts, qualities)}


@pytest.mark.parametrize(
    ("sigma", "expected"), [(0, 0.18182), (1, 0.40777), (2, 0.54614), (4, 0.72444)]
)
def test_blur_agrees_with_an_independent_library(sigma: int, expected: float) -> None:
    """Values printed by scikit-image 0.26.0, ``skimage.measure.blur_effect(h_size=11)``."""
    picture = board() if sigma == 0 else cv2.GaussianBlur(board(), (0, 0), sigma)
    assert blur_effect(picture.astype(np.float32)) == pytest.approx(expected, abs=2e-5)


def test_a_covered_lens_is_wholly_blurred_and_dark() -> None:
    quality = frame_quality(np.zeros((720, 1280, 3), np.uint8))
    assert (quality.blur, quality.luma, quality.clipped) == (1.0, 0.0, 1.0)


def test_luma_weighs_green_most() -> None:
    """ITU-R BT.709 luma weights."""
    for channel, weight in enumerate((0.2126, 0.7152, 0.0722)):
        picture = np.zeros((40, 40, 3), np.uint8)
        picture[..., channel] = 200
        assert frame_quality(picture).luma == pytest.approx(weight * 200 / 255, rel=1e-5)


def test_blur_is_judged_at_one_size() -> None:
    small = np.repeat(cv2.GaussianBlur(cv2.resize(board(), (640, 480)), (0, 0), 2)[..., None], 3, 2)
    large = cv2.resize(small, (1920, 1440), interpolation=cv2.INTER_CUBIC)
    assert frame_quality(large).blur == pytest.approx(frame_quality(small).blur, abs=0.03)


def test_a_good_film_passes_everything() -> None:
    found = checks()
    assert set(found) == {"sharpness", "exposure", "frame_rate", "resolution"}
    assert all(check.passed for check in found.values())


@pytest.mark.parametrize(
    ("quality", "key", "word"),
    [
        (FrameQuality(0.8, 0.45, 0.0), "sharpness", "lens"),
        (FrameQuality(0.4, 0.05, 0.0), "exposure", "dark"),
        (FrameQuality(0.4, 0.95, 0.0), "exposure", "bright"),
        (FrameQuality(0.4, 0.5, 0.7), "exposure", "black or white"),
    ],
)
def test_a_bad_picture_fails_its_check_and_says_what_to_do(
    quality: FrameQuality, key: str, word: str
) -> None:
    found = checks(qualities=(quality,))
    assert [k for k, check in found.items() if not check.passed] == [key]
    assert word in found[key].detail.text
    assert found[key].severity is Severity.WARNING


@pytest.mark.parametrize(("rate", "passed"), [(59.94, True), (240, True), (30, False), (18, False)])
def test_frame_rate(rate: float, passed: bool) -> None:
    check = checks(rate=rate)["frame_rate"]
    assert (check.passed, check.value) == (passed, rate)
    assert passed or "60 frames per second" in check.detail.text


def test_resolution_is_that_of_the_short_side() -> None:
    assert checks(width=720, height=1280)["resolution"].passed
    small = checks(width=640, height=480)["resolution"]
    assert (small.passed, small.value, small.severity) == (False, 480.0, Severity.NOTE)


def test_the_median_frame_counts() -> None:
    blurred = FrameQuality(0.9, 0.45, 0.0)
    assert checks(qualities=(GOOD, GOOD, blurred))["sharpness"].passed
    assert set(checks(qualities=())) == {"frame_rate", "resolution"}
