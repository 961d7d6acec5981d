"""Following one person: accuracy through contact, turned film, two people, loss."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import cv2
import numpy as np
import pytest

from models.contract.errors import NoPerson
from models.contract.tracks import JointTrack
from tests.unit.pose.conftest import Still
from workers.pose.budget import Zone
from workers.pose.choice import Networks
from workers.pose.estimate import Estimate, estimate
from workers.pose.frames import FrameSource, Stretch
from workers.pose.networks import COCO_TO_LANDMARK

COCO = list(COCO_TO_LANDMARK)
LIMBS = slice(5, 17)


@pytest.fixture(scope="module")
def exact(truth: dict[str, Any]) -> np.ndarray:
    return np.array(truth["contact.mp4"]["coco17"])


@pytest.fixture(scope="module")
def followed(contact_film: list[Still], networks: Networks) -> Estimate:
    return estimate(lambda _=None: contact_film, networks)


def torso_of(coco: np.ndarray) -> float:
    axis = coco[:, 5:7].mean(1) - coco[:, 11:13].mean(1)
    return float(np.median(np.hypot(*axis.T)))


def errors(found: np.ndarray, exact: np.ndarray) -> np.ndarray:
    """Distances in torso lengths, shape (T, 12)."""
    gap = (found[:, COCO] - exact)[:, LIMBS]
    return np.asarray(np.hypot(gap[..., 0], gap[..., 1]) / torso_of(exact))


def test_joints_through_contact_are_near_the_truth(followed: Estimate, exact: np.ndarray) -> None:
    """Trophy to follow-through at 30 fps; truth from the renderer, not from a network."""
    error = errors(followed.track.xy_raw, exact)
    assert error.mean() < 0.07
    assert np.percentile(error, 95) < 0.20
    assert followed.redetections == 0


def test_hitting_wrist_is_on_the_arm_at_contact(
    followed: Estimate, exact: np.ndarray, truth: dict[str, Any]
) -> None:
    contact = truth["contact.mp4"]["contact_frame"]
    error = errors(followed.track.xy, exact)
    assert error[contact - 2 : contact + 3, 5].max() < 0.30


def test_confidence_sorts_the_errors(followed: Estimate, exact: np.ndarray) -> None:
    error = errors(followed.track.xy_raw, exact)
    confidence = followed.track.confidence[:, COCO][:, LIMBS]
    sure = confidence >= 0.8
    assert 0.3 < sure.mean() < 1
    assert error[sure].mean() < 0.6 * error[confidence < 0.5].mean()


def test_smoothing_keeps_the_fast_wrist(followed: Estimate, exact: np.ndarray) -> None:
    t = followed.track.time_s

    def peak(path: np.ndarray) -> float:
        return float(np.hypot(*np.gradient(path, t, axis=0).T).max())

    assert 0.85 < peak(followed.track.xy[:, 16]) / peak(exact[:, 10]) < 1.15


def test_track_is_complete(followed: Estimate, contact_film: list[Still]) -> None:
    track = followed.track
    assert len(track) == len(contact_film)
    assert track.time_s.tolist() == [frame.time_s for frame in contact_film]
    assert (track.width, track.height) == contact_film[0].rgb.shape[1::-1]
    assert set(track.sources) == {"blazepose_heavy", "movenet_thunder"}
    assert np.isfinite(track.xy).all()
    assert np.isfinite(track.world).all()
    assert (track.people == 1).all()


def test_turned_film_gives_turned_joints(
    contact_film: list[Still], networks: Networks, followed: Estimate
) -> None:
    """The same film leaning by 25 degrees, like a body bent over: the crop turns with it."""
    height, width = contact_film[0].rgb.shape[:2]
    turn = cv2.getRotationMatrix2D((width / 2, height / 2), 25, 1.0)
    leaning = [
        replace(f, rgb=cv2.warpAffine(f.rgb, turn, (width, height))) for f in contact_film[:14]
    ]
    found = estimate(lambda _=None: leaning, networks).track.sources["blazepose_heavy"][..., :2]
    straight = followed.track.sources["blazepose_heavy"][:14, :, :2]
    expected = straight @ turn[:, :2].T + turn[:, 2]
    gap = np.hypot(*np.moveaxis((found - expected)[:, COCO][:, LIMBS], -1, 0))
    assert np.median(gap) < 0.06 * torso_of(straight[:, COCO])


def test_server_is_followed_beside_a_standing_person(
    contact_film: list[Still], networks: Networks, crop_picture: np.ndarray, followed: Estimate
) -> None:
    def beside(picture: np.ndarray) -> np.ndarray:
        still = cv2.resize(crop_picture[:, 78:178], None, fx=1.3, fy=1.3)
        frame = np.full((picture.shape[0], picture.shape[1] + 180, 3), 90, dtype=np.uint8)
        frame[:, : picture.shape[1]] = picture
        frame[170 : 170 + still.shape[0], -150 : -150 + still.shape[1]] = still
        return frame

    both = [replace(f, rgb=beside(f.rgb)) for f in contact_film[:20]]
    found = estimate(lambda _=None: both, networks)
    assert found.track.people.max() == 2
    assert len(found.server.candidates) == 2
    gap = np.linalg.norm(found.track.xy_raw[:, 23:25] - followed.track.xy_raw[:20, 23:25], axis=2)
    assert gap.max() < 25


def test_bystander_is_not_taken_for_a_server_who_left(
    contact_film: list[Still], networks: Networks, crop_picture: np.ndarray
) -> None:
    still = cv2.resize(crop_picture[:, 78:178], None, fx=1.3, fy=1.3)
    film = []
    for f in contact_film:
        frame = np.full((f.rgb.shape[0], f.rgb.shape[1] + 180, 3), 90, dtype=np.uint8)
        if f.index < 24:
            frame[:, : f.rgb.shape[1]] = f.rgb
        frame[170 : 170 + still.shape[0], -150 : -150 + still.shape[1]] = still
        film.append(replace(f, rgb=frame))
    track = estimate(lambda _=None: film, networks).track
    assert np.isfinite(track.xy_raw[:24]).all()
    assert np.isnan(track.xy_raw[24:]).all()


def test_person_is_found_again_after_an_interruption(
    contact_film: list[Still], networks: Networks, followed: Estimate
) -> None:
    """Four black frames, then the same person 140 px to the right."""

    def shifted(picture: np.ndarray, by: int) -> np.ndarray:
        frame = np.full((picture.shape[0], picture.shape[1] + 140, 3), 90, dtype=np.uint8)
        frame[:, by : by + picture.shape[1]] = picture
        return frame

    film = [
        replace(f, rgb=shifted(f.rgb, 0 if f.index < 8 else 140) * (not 8 <= f.index < 12))
        for f in contact_film[:20]
    ]
    found = estimate(lambda _=None: film, networks)
    assert found.redetections >= 1
    assert np.isnan(found.track.xy[8:12]).all()
    assert (found.track.score[8:12] == 0).all()
    assert (found.track.confidence[8:12] == 0).all()
    moved = found.track.xy_raw[14:, 23:25] - followed.track.xy_raw[14:20, 23:25]
    np.testing.assert_allclose(moved[..., 0], 140, atol=8)


def shown(film: list[Still]) -> FrameSource:
    """A film that shows only what is asked for."""

    def frames(stretches: Sequence[Stretch] | None = None, /) -> list[Still]:
        if stretches is None:
            return film
        return [f for f in film if any(a <= f.time_s <= b for a, b in stretches)]

    return frames


def test_only_what_is_worth_it_is_seen_closely(
    contact_film: list[Still], networks: Networks, followed: Estimate
) -> None:
    coarse: list[JointTrack] = []
    closely: list[float] = []

    def look(track: JointTrack) -> list[Stretch]:
        coarse.append(track)
        return [(contact_film[10].time_s, contact_film[25].time_s)]

    track = estimate(shown(contact_film), networks, closely.append, look).track
    assert closely == [f.time_s for f in contact_film[10:26]]
    assert set(coarse[0].sources) == {"blazepose_full"}
    inside = (track.frame_index >= 10) & (track.frame_index <= 25)
    assert inside.sum() == 16
    gap = np.linalg.norm(track.xy_raw[inside] - followed.track.xy_raw[10:26], axis=2)
    assert np.median(gap) < 2.0
    assert track.frame_index[0] == 0
    assert np.isfinite(track.xy[~inside]).all()
    assert np.isnan(track.sources["movenet_thunder"][~inside]).all()


def test_every_frame_is_seen_closely_where_the_cheapest_network_follows_nobody(
    contact_film: list[Still], networks: Networks
) -> None:
    def unsure(image: np.ndarray) -> Mapping[str, np.ndarray]:
        found = networks.blazepose(image)
        return {**found, "score": np.zeros_like(found["score"])}

    def never(track: JointTrack) -> list[Stretch]:
        raise AssertionError("there is no coarse track to look at")

    film, closely = contact_film[:8], list[float]()
    blind = replace(networks, coarse=unsure)
    track = estimate(shown(film), blind, closely.append, never).track
    assert closely == [frame.time_s for frame in film]
    assert np.isfinite(track.xy).all()


def test_coarse_joints_are_in_pixels_of_the_film(
    contact_film: list[Still], networks: Networks, followed: Estimate
) -> None:
    """A film three times as large: the kept pictures are scaled down, the joints are not."""
    large = [
        replace(f, rgb=cv2.resize(f.rgb, None, fx=3, fy=3, interpolation=cv2.INTER_CUBIC))
        for f in contact_film
    ]
    coarse: list[JointTrack] = []

    def nothing(track: JointTrack) -> list[Stretch]:
        coarse.append(track)
        return []

    found = estimate(shown(large), networks, worth_a_look=nothing)
    assert found.track is coarse[0]
    expected = 3 * followed.track.xy_raw[found.track.frame_index][:, COCO][:, LIMBS]
    gap = np.linalg.norm(found.track.xy_raw[:, COCO][:, LIMBS] - expected, axis=2)
    torso = 3 * torso_of(followed.track.xy_raw[:, COCO])
    assert np.median(gap) < 0.1 * torso


def test_nobody_in_the_film(networks: Networks) -> None:
    empty = [Still(i, i / 30, np.full((360, 640, 3), 90, dtype=np.uint8)) for i in range(8)]
    with pytest.raises(NoPerson):
        estimate(lambda _=None: empty, networks)


def test_film_without_frames(networks: Networks) -> None:
    with pytest.raises(NoPerson):
        estimate(lambda _=None: [], networks)


def test_second_network_is_optional(contact_film: list[Still], networks: Networks) -> None:
    alone = replace(networks, movenet=None, names=("blazepose_heavy", "none"))
    track = estimate(lambda _=None: contact_film[:8], alone).track
    assert set(track.sources) == {"blazepose_heavy"}
    assert np.isnan(track.disagreement_px).all()
    assert np.isfinite(track.xy).all()


def test_progress_and_time_of_every_frame(contact_film: list[Still]) -> None:
    """Networks that see nobody are never asked more than the finder allows."""
    calls = {"finder": 0, "blazepose": 0}
    person = np.zeros((1, 6, 56), dtype=np.float32)
    person[0, 0, 51:] = [0.2, 0.4, 0.8, 0.6, 0.9]

    def finder(image: np.ndarray) -> Mapping[str, np.ndarray]:
        calls["finder"] += 1
        return {"people": person}

    def unsure(image: np.ndarray) -> Mapping[str, np.ndarray]:
        calls["blazepose"] += 1
        return {
            "landmarks": np.zeros((1, 195)),
            "heatmaps": np.zeros((1, 64, 64, 39)),
            "world": np.zeros((1, 117)),
            "score": np.zeros((1, 1)),
        }

    seen: list[float] = []
    with pytest.raises(NoPerson):
        estimate(lambda _=None: contact_film, Networks(finder, unsure, None), seen.append)
    assert seen == [frame.time_s for frame in contact_film]
    assert calls["blazepose"] == len(contact_film)


def test_where_the_body_is_slow_fewer_frames_are_seen_and_as_well(
    contact_film: list[Still],
    networks: Networks,
    exact: np.ndarray,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """No fast stretch is given, and 15 looks a second are allowed of a film of 30."""
    monkeypatch.setattr("workers.pose.budget.ZONES", (Zone(np.inf, np.inf, 15.0),))
    whole = (contact_film[0].time_s, contact_film[-1].time_s)
    told: list[float] = []
    found = estimate(
        lambda _=None: contact_film,
        networks,
        told.append,
        worth_a_look=lambda _track: [whole],
        where_fast=lambda _track: [],
    ).track
    close = np.isfinite(found.sources["movenet_thunder"][:, COCO]).all(axis=(1, 2))
    rows = found.frame_index[close]
    assert rows.tolist() == [frame.index for frame in contact_film[::2]]
    assert told == [frame.time_s for frame in contact_film]
    error = errors(found.xy_raw[close], exact[::2])
    assert np.median(error) < 0.05
