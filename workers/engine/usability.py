"""Questions asked of a clip before its numbers are trusted, from the joints alone."""

from __future__ import annotations

import numpy as np

from models.contract.analysis import ViewEstimate
from models.contract.clip import UsabilityCheck
from models.contract.frame_rate import GOOD_RATE_FPS
from models.contract.note import note
from models.contract.note_codes import NoteCode
from models.contract.skeleton import LANDMARKS
from models.contract.tracks import BoolArray, FloatArray, IntArray, JointTrack
from models.contract.vocabulary import Severity, View

EDGE_SHARE = 0.012
"""A landmark nearer to the picture's edge than this share of its size counts as cut off."""
MIN_CONFIDENCE = 0.05
"""A hidden joint has a low confidence, one outside the picture almost none."""
MIN_BODY_PX = 160.0
"""Height of the person in pixels under which joints are coarse (engineering choice)."""
_FEET = tuple(name for part in ("ankle", "heel", "toe") for name in LANDMARKS.both(part))
_BODY = tuple(
    name for part in ("shoulder", "elbow", "wrist", "hip", "knee") for name in LANDMARKS.both(part)
)


def in_picture(track: JointTrack, names: tuple[str, ...]) -> BoolArray:
    """Return per frame whether all these landmarks are seen inside the picture, shape (T,)."""
    rows = LANDMARKS.rows(names)
    xy, confidence = track.xy[:, rows], track.confidence[:, rows]
    size = np.array([track.width, track.height], dtype=np.float64)
    edge = EDGE_SHARE * size
    with np.errstate(invalid="ignore"):
        inside = ((xy > edge) & (xy < size - edge)).all(axis=-1)
        return np.asarray((inside & (confidence >= MIN_CONFIDENCE)).all(axis=-1))


def feet_share(track: JointTrack, start: int, stop: int) -> float:
    """Return the share of frames in which both feet are in the picture, 0..1."""
    return float(np.mean(in_picture(track, _FEET)[start:stop])) if stop > start else 0.0


def frame_rate(time_s: FloatArray, frame_index: IntArray) -> float:
    """Return the mean frame rate, frames per second (0 with fewer than two frames).

    Frames are counted by their index, since not every frame need have a row.
    """
    if len(time_s) < 2:
        return 0.0
    return float((frame_index[-1] - frame_index[0]) / (time_s[-1] - time_s[0]))


def checks(
    track: JointTrack, windows: list[tuple[int, int]], view: ViewEstimate
) -> tuple[UsabilityCheck, ...]:
    """Return the checks of a clip; windows are the repetitions' rows (the clip if none)."""
    rows = np.zeros(len(track), dtype=np.bool_)
    for start, stop in windows or [(0, len(track))]:
        rows[start:stop] = True
    seen = np.asarray(np.isfinite(track.xy).all(axis=(1, 2)))
    return (
        _person(seen),
        _share(
            "whole_body",
            in_picture(track, _BODY)[rows],
            Severity.WARNING,
            NoteCode.BODY_STAYS,
            NoteCode.BODY_LEAVES,
        ),
        _share(
            "both_feet",
            in_picture(track, _FEET)[rows],
            Severity.WARNING,
            NoteCode.FEET_STAY,
            NoteCode.FEET_LEAVE,
        ),
        _alone(track),
        _size(track, seen),
        _rate(track),
        _view(view),
    )


def _person(seen: BoolArray) -> UsabilityCheck:
    share = float(np.mean(seen)) if seen.size else 0.0
    return UsabilityCheck(
        key="person_seen",
        passed=share >= 0.5,
        severity=Severity.BLOCKING,
        value=round(share, 3),
        unit="1",
        detail=note(NoteCode.PERSON_SEEN, share=share),
    )


def _share(
    key: str, inside: BoolArray, severity: Severity, good: NoteCode, bad: NoteCode
) -> UsabilityCheck:
    share = float(np.mean(inside)) if inside.size else 0.0
    passed = share >= 0.8
    return UsabilityCheck(
        key=key,
        passed=passed,
        severity=severity,
        value=round(share, 3),
        unit="1",
        detail=note(good if passed else bad),
    )


def _alone(track: JointTrack) -> UsabilityCheck:
    crowd = float(np.mean(track.people > 1)) if len(track) else 0.0
    return UsabilityCheck(
        key="one_person",
        passed=crowd < 0.2,
        severity=Severity.WARNING,
        value=round(crowd, 3),
        unit="1",
        detail=note(NoteCode.OTHER_PEOPLE, share=crowd),
    )


def _size(track: JointTrack, seen: BoolArray) -> UsabilityCheck:
    height = 0.0
    if seen.any():
        rows = track.xy[seen][..., 1]
        height = float(np.median(rows.max(axis=1) - rows.min(axis=1)))
    return UsabilityCheck(
        key="person_size",
        passed=height >= MIN_BODY_PX,
        severity=Severity.WARNING,
        value=round(height, 1),
        unit="px",
        detail=note(NoteCode.PERSON_HEIGHT, pixels=height),
    )


def _rate(track: JointTrack) -> UsabilityCheck:
    fps = frame_rate(track.time_s, track.frame_index)
    return UsabilityCheck(
        key="frame_rate",
        passed=fps >= GOOD_RATE_FPS,
        severity=Severity.NOTE,
        value=round(fps, 2),
        unit="1/s",
        detail=note(NoteCode.JOINTS_RATE, fps=fps),
    )


def _view(view: ViewEstimate) -> UsabilityCheck:
    passed = view.label is View.SIDE
    return UsabilityCheck(
        key="side_view",
        passed=passed,
        severity=Severity.NOTE,
        value=view.azimuth_deg,
        unit="deg",
        detail=note(NoteCode.FILMED_FROM_SIDE)
        if passed
        else note(NoteCode.FILMED_FROM_ELSEWHERE, view=view.label.value),
    )
