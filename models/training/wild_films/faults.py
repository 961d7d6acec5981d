"""What goes wrong with films: each fault turns frames and times into others.

A fault names the findings of which one must be told (codes of problems, keys of failed checks), and
the events that the film no longer shows: given all the same, they would be invented.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np

from models.contract.vocabulary import EventName

Pictures = np.ndarray[Any, np.dtype[np.uint8]]
"""Frames (T, H, W, 3), RGB."""
Times = np.ndarray[Any, np.dtype[np.float64]]
Change = Callable[[Pictures, Times, Mapping[str, float]], tuple[Pictures, Times]]

BEFORE_CONTACT_S, AFTER_RELEASE_S = 0.12, 0.1
"""Where films are cut, seconds."""
SHOWN_AGAIN, LEFT_OUT = 2, 9
"""Each picture is shown so often; every so-many-th is left out."""
FEET = 0.24
"""Share of the picture's height that is cut off below: servers leave up to a fifth there."""
DIM = 0.08
"""Share of the light that is left."""
TINY = 0.17
"""Size of the picture within a plain one of the old size."""
MESSENGER = 200
"""Longest side of a picture sent through a messenger, pixels."""


@dataclass(frozen=True)
class Fault:
    """A fault.

    Attributes
    ----------
    name : str
    change : callable
        (pictures, times in seconds, true events in seconds) to new pictures and times.
    told_by : frozenset of str
        Findings; one of them must be there. Empty: what is missing tells it.
    gone : frozenset of str
        Events that the film no longer shows.
    crf : int
        Of H.264, as it is written.
    stated : bool
        Whether the caller states the hand that hits, as it truly is.
    """

    name: str
    change: Change
    told_by: frozenset[str]
    gone: frozenset[str] = frozenset()
    crf: int = 22
    stated: bool = False


def _cut_start(pictures: Pictures, times: Times, events: Mapping[str, float]) -> Any:
    kept = times > events["release"] + AFTER_RELEASE_S
    return pictures[kept], times[kept]


def _cut_end(pictures: Pictures, times: Times, events: Mapping[str, float]) -> Any:
    kept = times < events["contact"] - BEFORE_CONTACT_S
    return pictures[kept], times[kept]


def _upside_down(pictures: Pictures, times: Times, _: Mapping[str, float]) -> Any:
    return np.ascontiguousarray(pictures[:, ::-1, ::-1]), times


def _repeated(pictures: Pictures, times: Times, _: Mapping[str, float]) -> Any:
    step = float(np.median(np.diff(times))) / SHOWN_AGAIN
    again = np.repeat(pictures, SHOWN_AGAIN, axis=0)
    return again, times[0] + step * np.arange(len(again))


def _dropped(pictures: Pictures, times: Times, _: Mapping[str, float]) -> Any:
    kept = np.arange(len(times)) % LEFT_OUT != LEFT_OUT - 1
    return pictures[kept], times[kept]


def _cropped(pictures: Pictures, times: Times, _: Mapping[str, float]) -> Any:
    height = 2 * round(pictures.shape[1] * (1.0 - FEET) / 2.0)
    return np.ascontiguousarray(pictures[:, :height]), times


def _dim(pictures: Pictures, times: Times, _: Mapping[str, float]) -> Any:
    return (pictures * DIM).astype(np.uint8), times


def _tiny(pictures: Pictures, times: Times, _: Mapping[str, float]) -> Any:
    out = np.full_like(pictures, 120)
    height, width = (round(TINY * side) for side in pictures.shape[1:3])
    top, left = pictures.shape[1] // 2, pictures.shape[2] // 2
    for old, new in zip(pictures, out, strict=True):
        new[top : top + height, left : left + width] = cv2.resize(
            old, (width, height), interpolation=cv2.INTER_AREA
        )
    return out, times


def _messenger(pictures: Pictures, times: Times, _: Mapping[str, float]) -> Any:
    factor = MESSENGER / max(pictures.shape[1:3])
    width, height = (2 * round(side * factor / 2.0) for side in pictures.shape[2:0:-1])
    small = [cv2.resize(p, (width, height), interpolation=cv2.INTER_AREA) for p in pictures]
    return np.stack(small), times


def _two_people(pictures: Pictures, times: Times, _: Mapping[str, float]) -> Any:
    return np.concatenate([pictures, pictures[:, :, ::-1]], axis=2), times


def _mirrored(pictures: Pictures, times: Times, _: Mapping[str, float]) -> Any:
    return np.ascontiguousarray(pictures[:, :, ::-1]), times


FAULTS = (
    Fault("cut at the start", _cut_start, frozenset(), frozenset({"set_up", "release"})),
    Fault("cut at the end", _cut_end, frozenset(), frozenset({"contact", "finish"})),
    Fault("upside-down", _upside_down, frozenset({"upright"})),
    Fault("repeated pictures", _repeated, frozenset({"frames_repeated"})),
    Fault("dropped pictures", _dropped, frozenset({"frames_repeated", "frames_lost"})),
    Fault("cropped", _cropped, frozenset({"feet_not_in_frame", "body_not_in_frame"})),
    Fault("sent small", _messenger, frozenset({"person_too_small", "resolution"}), crf=34),
    Fault("dim", _dim, frozenset({"exposure"})),
    Fault("far away", _tiny, frozenset({"person_too_small"})),
    # a mirrored right-hander is a left-hander like any other: only a stated hand tells it, and what
    # is measured of the tossing arm would be invented
    Fault(
        "mirrored",
        _mirrored,
        frozenset({"other_hand_hits"}),
        frozenset(event.value for event in EventName),
        stated=True,
    ),
    Fault("two people", _two_people, frozenset({"several_people", "one_person", "server_clear"})),
)
