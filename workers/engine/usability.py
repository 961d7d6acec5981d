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
"""A blurred or hidden joint has a lower confidence. It says nothing of where the joint is: hands
of fast serves are under it in half of the frames although they are inside the picture."""
MIN_BODY_PX = 160.0
"""Height of the person in pixels under which joints are coarse (engineering choice)."""
_FEET = tuple(name for part in ("ankle", "heel", "toe") for name in LANDMARKS.both(part))
_HANDS = tuple(name for part in ("elbow", "wrist") for name in LANDMARKS.both(part))
_TRUNK_AND_KNEES = tuple(
    name for part in ("shoulder", "hip", "knee") for name in LANDMARKS.both(part)
)
_BODY = (*_TRUNK_AND_KNEES, *_HANDS)
ENOUGH = 0.8
"""Share of the frames in which what is asked for must hold (working value)."""
HEAD_UP_DEG, ON_ITS_SIDE_DEG = 45.0, 135.0
"""Median direction from the ankles to the head against the picture's up, degrees: up to the first
the picture is upright, up to the second it lies on its side, beyond it is upside down."""


def in_picture(track: JointTrack, names: tuple[str, ...]) -> BoolArray:
    """Return per frame whether all these landmarks are seen inside the picture, shape (T,)."""
    return np.asarray(within_picture(track, names) & clearly_seen(track, names))


def within_picture(track: JointTrack, names: tuple[str, ...]) -> BoolArray:
    """Return per frame whether all these landmarks lie inside the picture, shape (T,)."""
    xy = track.xy[:, LANDMARKS.rows(names)]
    size = np.array([track.width, track.height], dtype=np.float64)
    edge = EDGE_SHARE * size
    with np.errstate(invalid="ignore"):
        return np.asarray(((xy > edge) & (xy < size - edge)).all(axis=(1, 2)))


def clearly_seen(track: JointTrack, names: tuple[str, ...]) -> BoolArray:
    """Return per frame whether the networks see all these landmarks clearly, shape (T,)."""
    return np.asarray((track.confidence[:, LANDMARKS.rows(names)] >= MIN_CONFIDENCE).all(axis=-1))


def head_away_from_up(track: JointTrack) -> float | None:
    """Return how far the body's long axis is from the picture's up, degrees; None if unseen."""
    ankles = LANDMARKS.middle(track.xy, "ankle")
    axis = track.xy[:, LANDMARKS.index("nose")] - ankles
    known = axis[np.isfinite(axis).all(axis=1)]
    if not len(known):
        return None
    along = np.median(known / np.maximum(np.linalg.norm(known, axis=1, keepdims=True), 1.0), axis=0)
    return float(np.degrees(np.arctan2(abs(along[0]), -along[1])))


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
            _unless_seen_cut_off(track, _BODY)[rows],
            Severity.WARNING,
            NoteCode.BODY_STAYS,
            NoteCode.BODY_LEAVES,
        ),
        _share(
            "both_feet",
            _unless_seen_cut_off(track, _FEET)[rows],
            Severity.WARNING,
            NoteCode.FEET_STAY,
            NoteCode.FEET_LEAVE,
        ),
        _clear("hands_clear", track, rows, _HANDS, Severity.NOTE, NoteCode.HANDS_NOT_CLEAR),
        _clear(
            "body_clear", track, rows, _TRUNK_AND_KNEES, Severity.WARNING, NoteCode.BODY_NOT_CLEAR
        ),
        _clear("feet_clear", track, rows, _FEET, Severity.WARNING, NoteCode.FEET_NOT_CLEAR),
        _upright(track),
        _alone(track),
        _chosen(track),
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
    passed = share >= ENOUGH
    return UsabilityCheck(
        key=key,
        passed=passed,
        severity=severity,
        value=round(share, 3),
        unit="1",
        detail=note(good if passed else bad),
    )


def _unless_seen_cut_off(track: JointTrack, names: tuple[str, ...]) -> BoolArray:
    """Return per frame whether none of these landmarks lies at or beyond the picture's edge."""
    return within_picture(track, names) | ~np.isfinite(track.xy).all(axis=(1, 2))


def _clear(
    key: str,
    track: JointTrack,
    rows: BoolArray,
    names: tuple[str, ...],
    severity: Severity,
    bad: NoteCode,
) -> UsabilityCheck:
    """Of the frames in which these landmarks are inside the picture, how many show them."""
    inside = rows & within_picture(track, names)
    return _share(
        key, _or_all(clearly_seen(track, names)[inside]), severity, NoteCode.SEEN_CLEARLY, bad
    )


def _or_all(seen: BoolArray) -> BoolArray:
    """Nothing inside the picture is no question of light: another check says that."""
    return seen if seen.size else np.ones(1, dtype=np.bool_)


def _upright(track: JointTrack) -> UsabilityCheck:
    away = head_away_from_up(track)
    detail = NoteCode.UPRIGHT
    if away is not None and away > ON_ITS_SIDE_DEG:
        detail = NoteCode.UPSIDE_DOWN
    elif away is not None and away > HEAD_UP_DEG:
        detail = NoteCode.ON_ITS_SIDE
    return UsabilityCheck(
        key="upright",
        passed=detail is NoteCode.UPRIGHT,
        severity=Severity.BLOCKING,
        value=None if away is None else round(away, 1),
        unit="deg",
        detail=note(detail),
    )


def _chosen(track: JointTrack) -> UsabilityCheck:
    return UsabilityCheck(
        key="server_clear",
        passed=track.server_clear,
        severity=Severity.WARNING,
        detail=note(NoteCode.SERVER_CLEAR if track.server_clear else NoteCode.TWO_CANDIDATES),
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
    passed = height >= MIN_BODY_PX
    return UsabilityCheck(
        key="person_size",
        passed=passed,
        severity=Severity.WARNING,
        value=round(height, 1),
        unit="px",
        detail=note(NoteCode.PERSON_HEIGHT if passed else NoteCode.PERSON_SMALL, pixels=height),
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
