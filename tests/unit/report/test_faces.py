"""What is covered of a head, for how long, and that nothing of a face is left."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from models.contract.skeleton import LANDMARKS
from tests.unit.pipeline.fakes import track
from workers.report.faces import CELLS, HOLD_S, Head, HeldHeads, ServerHeads, covered, heads_of

DOWN = np.array([0.0, 80.0])
NOWHERE = np.full((2, 2), np.nan)
SHOULDERS = np.array([[110.0, 100.0], [90.0, 100.0]])
HIPS = np.array([[108.0, 200.0], [92.0, 200.0]])
FACE = np.array([[100.0, 62.0], [104.0, 56.0], [96.0, 56.0], [108.0, 58.0], [92.0, 58.0]])


def inside(heads: tuple[Head, ...] | list[Head], point: tuple[float, float]) -> bool:
    """Tell whether a point is covered, by covering a black frame with one white pixel there."""
    frame = np.zeros((400, 400, 3), np.uint8)
    frame[int(point[1]), int(point[0])] = 255
    return bool((covered(frame, heads)[int(point[1]), int(point[0])] != 255).any())


def test_a_face_is_covered_from_vertex_to_chin() -> None:
    heads = heads_of(FACE, SHOULDERS, HIPS)
    assert len(heads) == 1
    # Torso 100: vertex 0.18 / 0.288 of it above the shoulders, chin 0.052 / 0.288 (Drillis &
    # Contini 1966, from memory).
    for point in [(100, 100 - 62), (100, 100 - 18), (80, 60), (120, 60), *FACE]:
        assert inside(heads, (float(point[0]), float(point[1]))), point
    assert not inside(heads, (100.0, 150.0))


def test_without_a_face_the_place_over_the_shoulders_is_covered_wider() -> None:
    (seen,) = heads_of(FACE, SHOULDERS, HIPS)
    (guessed,) = heads_of(np.full((5, 2), np.nan), SHOULDERS, HIPS)
    assert guessed.half_width > seen.half_width
    assert all(inside((guessed,), (float(u), float(v))) for u, v in FACE)


def test_a_bent_body_has_its_head_in_front() -> None:
    flat = np.array([[200.0, 100.0], [200.0, 110.0]]), np.array([[100.0, 100.0], [100.0, 110.0]])
    (head,) = heads_of(np.full((5, 2), np.nan), *flat)
    assert head.u > 220
    assert head.lean_deg == pytest.approx(90.0, abs=1e-6)


def test_face_and_shoulders_that_contradict_each_other_cover_both() -> None:
    heads = heads_of(FACE + np.array([0.0, 200.0]), SHOULDERS, HIPS)
    assert inside(heads, (100.0, 260.0))
    assert all(inside(heads, (float(u), float(v))) for u, v in FACE)


def test_of_a_bare_box_the_upper_part_is_covered() -> None:
    box = np.array([50.0, 100.0, 150.0, 350.0])
    heads = heads_of(np.full((5, 2), np.nan), NOWHERE, NOWHERE, box=box)
    assert inside(heads, (100.0, 110.0))
    assert not inside(heads, (100.0, 340.0))
    assert heads_of(np.full((5, 2), np.nan), NOWHERE, NOWHERE) == ()


def test_a_foreshortened_torso_does_not_shrink_the_head() -> None:
    (usual,) = heads_of(FACE, SHOULDERS, HIPS)
    short = SHOULDERS + DOWN  # leans towards the camera
    (head,) = heads_of(FACE + DOWN, short, HIPS, usual_torso=100.0)
    assert head.half_width > 0.7 * usual.half_width


def test_of_what_is_covered_no_detail_is_left_and_all_else_stays() -> None:
    random = np.random.default_rng(3)
    frame = random.integers(0, 256, (300, 400, 3), dtype=np.uint8)
    head = Head(200.0, 150.0, 60.0, 72.0, 20.0)
    made = covered(frame, [head])
    v, u = np.mgrid[:300, :400]
    far = np.hypot(u - 200, v - 150) > 73
    assert np.array_equal(made[far], frame[far])
    near = np.hypot(u - 200, v - 150) < 58
    assert (made[near] != frame[near]).any(axis=1).mean() > 0.98
    fine = [one.astype(float) - cv2.blur(one.astype(float), (9, 9)) for one in (frame, made)]
    assert abs(np.corrcoef(fine[0][near].ravel(), fine[1][near].ravel())[0, 1]) < 0.02
    assert fine[1][near].std() < 0.02 * fine[0][near].std()


def test_two_faces_that_differ_in_detail_become_one() -> None:
    """What cannot be told apart afterwards cannot be got back: irreversible."""
    frame = np.full((240, 240, 3), 90, np.uint8)
    head = Head(120.0, 120.0, 50.0, 60.0)
    cell = 2 * 61 / CELLS
    v, u = np.mgrid[:240, :240]
    stripes = 60 * np.sign(np.sin(2 * np.pi * u / (cell / 4)) + 1e-9)
    other = 60 * np.sign(np.sin(2 * np.pi * v / (cell / 5)) + 1e-9)
    faces = [(frame + pattern[..., None]).astype(np.uint8) for pattern in (stripes, other)]
    apart = np.abs(faces[0].astype(int) - faces[1].astype(int)).mean()
    made = [covered(one, [head])[80:160, 85:155].astype(int) for one in faces]
    assert apart > 50
    assert np.abs(made[0] - made[1]).max() < 12


def test_heads_at_the_border_and_outside() -> None:
    frame = np.random.default_rng(1).integers(0, 256, (60, 80, 3), dtype=np.uint8)
    at_border = covered(frame, [Head(0.0, 0.0, 20.0, 24.0)])
    assert (at_border[:5, :5] != frame[:5, :5]).any()
    assert np.array_equal(covered(frame, [Head(500.0, -400.0, 20.0, 24.0)]), frame)
    assert np.array_equal(covered(frame, []), frame)


def seen_in(rows: list[int], frames: int = 60) -> ServerHeads:
    """A server that walks to the right and is only followed in these frames, at 60 per second."""
    found = track(frames)
    xy = np.full((frames, len(LANDMARKS), 2), np.nan)
    place = {name: FACE[0] for name in LANDMARKS if "eye" in name or name in ("nose", "left_ear")}
    place |= {"left_shoulder": SHOULDERS[0], "right_shoulder": SHOULDERS[1]}
    place |= {"left_hip": HIPS[0], "right_hip": HIPS[1]}
    for row in rows:
        for name, (u, v) in place.items():
            xy[row, LANDMARKS.index(name)] = u + 2.0 * row, v
    found.xy[:] = xy
    return ServerHeads(found)


def test_the_server_stays_covered_where_the_head_is_not_found() -> None:
    heads = seen_in([*range(10), *range(50, 60)])
    (exact,) = heads.at(5 / 60)
    for row in range(10, 50):
        covering = heads.at(row / 60)
        assert inside(covering, (100.0 + 2.0 * row, 62.0)), row  # where it really was
        assert inside(covering, (100.0 + 2.0 * 9, 62.0)), row  # and where it was last seen
        assert all(head.half_width > exact.half_width for head in covering[:2])
    assert inside(heads.at(3.0), (100.0 + 2.0 * 59, 62.0))  # long after it was last seen
    assert seen_in([]).at(0.5) == ()


def test_others_stay_covered_for_a_while() -> None:
    held = HeldHeads()
    here, there = Head(100.0, 100.0, 10.0, 12.0), Head(300.0, 100.0, 10.0, 12.0)
    held.found(0.0, [here, there])
    held.found(0.1, [Head(104.0, 100.0, 10.0, 12.0)])
    after = held.at(0.1)
    assert sorted(round(head.u) for head in after) == [104, 300]
    lost = next(head for head in after if head.u == 300.0)
    assert lost.half_width > there.half_width
    held.found(1.5, [])
    assert inside(held.at(1.5), (300.0, 100.0))
    held.found(HOLD_S + 0.2, [])
    assert held.at(HOLD_S + 0.2) == ()
