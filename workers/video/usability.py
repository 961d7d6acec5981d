"""Whether a film is good enough to measure on: sharpness, exposure, frame rate, resolution.

Pure: pictures and facts in, checks out. Questions that need joints (whole body and feet in view,
camera position) are asked by the metrics engine. Thresholds are the project's own: frame rate and
resolution are common practice, no source; those of sharpness and exposure were set on rendered
serves blurred and darkened step by step.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from models.contract.clip import ClipFacts, UsabilityCheck
from models.contract.frame_rate import GOOD_RATE_FPS
from models.contract.note import note
from models.contract.note_codes import NoteCode
from models.contract.vocabulary import Severity

WORKING_SIDE = 640
"""Pictures are judged at this longest side, pixels: finer blur does not reach a pose network."""

BLUR_LIMIT = 0.62
"""About a Gaussian blur of 2 px at the working size; sharp rendered serves give 0.30 to 0.45."""
DARK_LIMIT, BRIGHT_LIMIT = 0.12, 0.85
"""Mean luma, 0..1, under and over which a picture is too dark or too bright (working values)."""
CLIPPED_LIMIT = 0.5
"""Share of pure black and white from which the exposure is wrong (working value)."""
RATE_POOR = 24.0
"""Frames per second under which the swing cannot be timed (working value)."""
SHORT_SIDE_GOOD, SHORT_SIDE_POOR = 700, 400
"""Shorter side of the picture, pixels: enough, and the least without a warning (working values: 720
lines, less what is trimmed; 400)."""
CHECKS = frozenset({"frame_rate", "resolution", "sharpness", "exposure"})
"""Keys of the checks that are made here."""


@dataclass(frozen=True, slots=True)
class FrameQuality:
    """Picture quality of one frame.

    Attributes
    ----------
    blur : float
        Perceptual blur, 0 (sharp) .. 1 (no edges); see `blur_effect`.
    luma : float
        Mean BT.709 luma, 0..1.
    clipped : float
        Share of pixels at black or white, 0..1.
    """

    blur: float
    luma: float
    clipped: float


def blur_effect(grey: npt.NDArray[np.float32], width: int = 11) -> float:
    """Return the perceptual blur of a grey picture, 0 (sharp) .. 1 (no edges at all).

    How much of the edge strength survives blurring once more: little in a sharp picture, nearly
    all in a blurred one. The larger of the two directions.

    Parameters
    ----------
    grey : ndarray of float32, shape (H, W)
    width : int
        Length of the averaging filter, pixels.

    References
    ----------
    Proc. SPIE 6492 (2007) 64920I, doi:10.1117/12.702790.
    """
    results = []
    for box, order in (((width, 1), (1, 0)), ((1, width), (0, 1))):
        again = cv2.blur(grey, box, borderType=cv2.BORDER_REFLECT)
        edges = np.abs(cv2.Sobel(grey, cv2.CV_32F, *order, borderType=cv2.BORDER_REFLECT))
        left = np.abs(cv2.Sobel(again, cv2.CV_32F, *order, borderType=cv2.BORDER_REFLECT))
        inner = (slice(2, -1), slice(2, -1))
        strength = float(edges[inner].sum(dtype=np.float64))
        lost = float(np.maximum(0, edges - left)[inner].sum(dtype=np.float64))
        results.append(1.0 if strength == 0 else (strength - lost) / strength)
    return max(results)


def frame_quality(rgb: npt.NDArray[np.uint8]) -> FrameQuality:
    """Judge one upright RGB frame, shape (H, W, 3)."""
    height, width = rgb.shape[:2]
    scale = min(1.0, WORKING_SIDE / max(height, width))
    if scale < 1:
        size = (max(1, round(width * scale)), max(1, round(height * scale)))
        rgb = np.asarray(cv2.resize(rgb, size, interpolation=cv2.INTER_AREA), np.uint8)
    grey = (rgb @ np.array([0.2126, 0.7152, 0.0722], np.float32)).astype(np.float32)
    return FrameQuality(
        blur=blur_effect(grey),
        luma=float(grey.mean()) / 255,
        clipped=float(np.mean((grey <= 4) | (grey >= 251))),
    )


def usability_checks(
    facts: ClipFacts, qualities: Sequence[FrameQuality]
) -> tuple[UsabilityCheck, ...]:
    """Return the checks on a film, from its facts and the quality of some of its frames.

    Parameters
    ----------
    facts : ClipFacts
    qualities : sequence of FrameQuality
        Of frames spread over the film (ten are enough); the median counts. None = the checks on
        pictures are left out.
    """
    checks = [_frame_rate(facts.frame_rate), _resolution(facts.width, facts.height)]
    if qualities:
        checks += [
            _sharpness(float(np.median([q.blur for q in qualities]))),
            _exposure(
                float(np.median([q.luma for q in qualities])),
                float(np.median([q.clipped for q in qualities])),
            ),
        ]
    return tuple(checks)


def _frame_rate(rate: float) -> UsabilityCheck:
    if rate >= GOOD_RATE_FPS:
        detail = NoteCode.RATE_ENOUGH
    elif rate >= RATE_POOR:
        detail = NoteCode.RATE_FOR_POSTURE
    else:
        detail = NoteCode.RATE_FOR_SLOW_POSTURE
    return UsabilityCheck(
        key="frame_rate",
        passed=rate >= GOOD_RATE_FPS,
        severity=Severity.WARNING,
        value=rate,
        unit="1/s",
        detail=note(detail),
    )


def _resolution(width: int, height: int) -> UsabilityCheck:
    side = min(width, height)
    passed = side >= SHORT_SIDE_GOOD
    return UsabilityCheck(
        key="resolution",
        passed=passed,
        severity=Severity.NOTE if side >= SHORT_SIDE_POOR else Severity.WARNING,
        value=float(side),
        unit="px",
        detail=note(NoteCode.RESOLUTION_ENOUGH if passed else NoteCode.RESOLUTION_LOW),
    )


def _sharpness(blur: float) -> UsabilityCheck:
    passed = blur <= BLUR_LIMIT
    return UsabilityCheck(
        key="sharpness",
        passed=passed,
        severity=Severity.WARNING,
        value=blur,
        unit="1",
        detail=note(NoteCode.SHARP_ENOUGH if passed else NoteCode.BLURRED),
    )


def _exposure(luma: float, clipped: float) -> UsabilityCheck:
    if luma < DARK_LIMIT:
        detail = NoteCode.TOO_DARK
    elif luma > BRIGHT_LIMIT:
        detail = NoteCode.TOO_BRIGHT
    elif clipped > CLIPPED_LIMIT:
        detail = NoteCode.BLACK_OR_WHITE
    else:
        detail = NoteCode.WELL_EXPOSED
    return UsabilityCheck(
        key="exposure",
        passed=detail is NoteCode.WELL_EXPOSED,
        severity=Severity.WARNING,
        value=luma,
        unit="1",
        detail=note(detail),
    )
