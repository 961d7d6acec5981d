"""A coach's own lines stand in the pictures where they were drawn on the film."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image

from models.contract.annotations import Annotations
from models.contract.vocabulary import EventName
from models.words import english
from tests.unit.report.test_pictures import _close
from workers.report.canvas import Layer
from workers.report.crop import Crop
from workers.report.matching import Side
from workers.report.own_lines import draw_own
from workers.report.palette import OWN
from workers.report.pictures import event_pictures
from workers.report.side_by_side import matched_pictures

PICTURE = "serve-1-loading.jpg"


def _lines(*marks: dict) -> Annotations:
    return Annotations.model_validate({"marks": [{"picture": PICTURE} | one for one in marks]})


def _drawn(lines: Annotations, crop: Crop) -> np.ndarray:
    layer = Layer(*crop.size)
    draw_own(layer, lines.marks, crop.place, english(), unit=5.0)
    return np.asarray(layer.over(Image.new("RGB", crop.size, (128, 128, 128))))


@pytest.mark.parametrize("mirrored", [False, True])
def test_lines_points_and_angles_stand_where_they_were_drawn(mirrored: bool) -> None:
    crop = Crop(100, 50, 200, 300, 2.0, mirrored=mirrored)
    spots = [(120.0, 80.0), (200.0, 300.0), (280.0, 120.0)]
    line = {"type": "line", "points": spots, "arrow": True}
    angle = {"type": "angle", "vertex": spots[1], "ends": [spots[0], spots[2]]}
    for lines in (
        _lines(line),
        _lines(angle),
        _lines(*({"type": "point", "at": s} for s in spots)),
    ):
        seen = _close(_drawn(lines, crop), OWN)
        for x, y in spots:
            left = (300 - x) * 2 if mirrored else (x - 100) * 2
            top = (y - 50) * 2
            assert seen[round(top) - 5 : round(top) + 6, round(left) - 5 : round(left) + 6].any()


def test_a_colour_of_ones_own_is_the_one_drawn() -> None:
    crop = Crop(0, 0, 100, 100, 2.0)
    mark = {"type": "line", "points": [(10, 50), (90, 50)], "colour": "#ff2010"}
    image = _drawn(_lines(mark), crop)
    assert _close(image, (255, 32, 16))[100].sum() > 100
    assert not _close(image, OWN).any()


def test_both_pictures_of_the_instant_show_them_and_others_do_not(right_side) -> None:
    case = right_side
    far = (float(case.track.width) - 5.0, 300.0)  # beside the player: the picture reaches there
    lines = _lines(
        {"type": "line", "points": [(far[0] - 60, 300), far]},
        {"type": "angle", "vertex": (600, 300), "ends": [(640, 300), (600, 340)], "text": "here"},
    )
    found = [
        event_pictures(
            case.frames, case.analysis, case.track, (case.body,), (case.centre_of_mass,), own=own
        )
        for own in (None, lines)
    ]
    assert found[0].keys() == found[1].keys()
    for name in (PICTURE, PICTURE.replace(".jpg", "-plain.jpg")):
        before, after = (
            int(_close(np.asarray(Image.open(io.BytesIO(f[name]))), OWN).sum()) for f in found
        )
        assert after > before + 30
    # One crop for all pictures of a serve, so that they can be compared.
    sizes = {Image.open(io.BytesIO(d)).size[0] for n, d in found[1].items() if "plain" not in n}
    assert len(sizes) == 1


def test_a_pair_shows_them_on_the_side_they_are_of_however_far_out(right_side) -> None:
    case = right_side
    mark = {"type": "line", "points": [(20, 300), (20, 420)]}
    plain, lined = (
        Side(
            "x", case.analysis.repetitions[0], case.track, case.analysis.handedness,
            case.frames, case.body, case.centre_of_mass, own,
        )
        for own in ({}, {EventName.LOADING: _lines(mark).marks})
    )  # fmt: skip
    seen = []
    for first, second in ((plain, plain), (plain, lined)):
        data = matched_pictures(first, second)["pair-loading-plain.jpg"]
        columns = np.nonzero(_close(np.asarray(Image.open(io.BytesIO(data))), OWN))[1]
        seen.append(columns / Image.open(io.BytesIO(data)).size[0])
    assert len(seen[1]) > len(seen[0]) + 20
    assert np.median(seen[1]) > 0.5
