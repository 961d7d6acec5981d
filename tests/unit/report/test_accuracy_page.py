"""The accuracy page and its picture, from figures made up for the purpose."""

from __future__ import annotations

import re
from itertools import pairwise
from xml.etree import ElementTree

import pytest
from scipy.stats import binomtest

from models.contract.accuracy import (
    Accuracy,
    ClipSet,
    EventAccuracy,
    MetricAccuracy,
    ViewAccuracy,
)
from models.contract.analysis import ModelUse
from models.contract.vocabulary import EventName, View
from workers.report.accuracy_advice import limits, trust
from workers.report.accuracy_aims import aim, aimed, label, met, written
from workers.report.accuracy_page import accuracy_page, table
from workers.report.accuracy_picture import PLOT, REACH, accuracy_picture

SVG = "{http://www.w3.org/2000/svg}"


def plain(text: str | None) -> str:
    """Numbers stick to their units by no-break spaces; compare without them."""
    return str(text).replace("\N{NO-BREAK SPACE}", " ")


def metric(
    name: str,
    view: str,
    bias: float | None,
    mae: float | None,
    *,
    title: str = "Front knee flexion",
    unit: str = "deg",
    measured: int = 7,
    covered: int = 7,
    guess: float = 9.0,
) -> MetricAccuracy:
    return MetricAccuracy(
        name=name,
        title=title,
        unit=unit,
        view=view,
        count=8,
        bias=bias,
        mae=mae,
        p95=None if mae is None else 2 * mae,
        coverage=None if mae is None else covered / measured,
        measurable=measured / 8 if mae is not None else 0.0,
        guess_mae=guess,
    )


def whole(view: str, clips: int) -> ViewAccuracy:
    return ViewAccuracy(
        view=view,
        clips=clips,
        serves=clips,
        count_exact=1.0,
        kinds_exact=1.0,
        handedness_exact=0.875,
        view_class=None,
        azimuth_mae_deg=4.04,
    )


@pytest.fixture
def document() -> Accuracy:
    load = {"title": "Weight over the rear foot", "unit": "1", "guess": 0.06}
    knee, share = "front_knee_flexion@trophy", "rear_foot_load_share@loading"
    return Accuracy(
        clip_set=ClipSet(
            about="made up",
            command="servewright accuracy films --page page --about 'made up'",
            heights_given=True,
            frame_rates={"30": 1, "60": 15},
            failed={"9.mp4": "video-unreadable"},
        ),
        engine_version="0.0.7",
        models=(ModelUse(name="network", sha256="ab" * 32),),
        engine_s_per_serve=0.75,
        views=(whole("side", 8), whole("behind", 8), whole("all", 16)),
        events=(
            EventAccuracy(
                event=EventName.CONTACT,
                view="side",
                count=8,
                found=1.0,
                bias_ms=-3.2,
                mae_ms=5.1,
                p95_ms=12.0,
                mae_frames=0.31,
                within_one_frame=0.97,
            ),
        ),
        metrics=(
            metric(knee, "side", -2.0, 3.0),
            metric(knee, "behind", 9.9, 10.0, covered=3),
            metric(knee, "all", 4.0, 6.5),
            metric(share, "side", 0.0, 0.05, **load),
            metric(share, "behind", None, None, **load),
            metric(share, "all", 0.0, 0.05, **load),
            metric("tempo", "side", 0.004, 0.012, title="Set-up to contact", unit="s", guess=0.1),
        ),
    )


def test_aims_are_wider_where_the_camera_is_not_at_the_side(document: Accuracy) -> None:
    assert aim("front_knee_flexion", View.SIDE) == 4.0
    assert aim("front_knee_flexion", View.BEHIND) == 6.0
    assert aim("tempo", View.SIDE) is None
    assert aimed(document) == ("rear_foot_load_share@loading", "front_knee_flexion@trophy")
    rows = {(row.name, row.view): row for row in document.metrics}
    assert met(rows["front_knee_flexion@trophy", "side"], View.SIDE) is True
    assert met(rows["front_knee_flexion@trophy", "behind"], View.BEHIND) is False
    assert met(rows["rear_foot_load_share@loading", "behind"], View.BEHIND) is None


@pytest.mark.parametrize(
    ("key", "unit", "value", "signed", "text"),
    [
        ("elbow_flexion", "deg", -3.21, False, "−3.2°"),
        ("elbow_flexion", "deg", 3.25, True, "+3.2°"),
        ("elbow_flexion", "deg", -0.01, True, "0.0°"),
        ("rear_foot_load_share", "1", 0.041, True, "+4.1 points"),
        ("contact_height_ratio", "1", 0.02, False, "2.0 points"),
        ("turn_to_bend_ratio", "1", 0.2, False, "0.2"),
        ("sequence_trunk", "ms", 27.6, False, "28 ms"),
        ("contact_forward", "m", 0.1, False, "0.100 m"),
        ("another", "kg", 0.5, False, "0.5 kg"),
    ],
)
def test_errors_are_written_with_their_unit(
    key: str, unit: str, value: float, signed: bool, text: str
) -> None:
    assert plain(written(key, unit, value, signed=signed)) == text


def test_the_event_stands_behind_the_title_once(document: Accuracy) -> None:
    assert label(document.metrics[0]) == "Front knee flexion (trophy position)"
    at = metric("contact_height_ratio@contact", "side", 0.0, 0.1, title="Wrist height at contact")
    assert label(at) == "Wrist height at contact"


def test_the_page_says_what_was_measured_with_what(document: Accuracy) -> None:
    page = plain(accuracy_page(document, "picture.svg"))
    assert "](picture.svg)" in page
    assert document.clip_set.command in page
    for text in ("made up", "0.0.7", "ab" * 32, "1 at 30, 15 at 60", "`video-unreadable`"):
        assert text in page
    assert "16 films with 16 serves" in page
    assert "Of 3 pairs of metric and camera position" in page
    assert "1 keep it" in page
    assert "1 of these 16 films has fewer" in page
    assert (
        "| Front knee flexion (trophy position) | 4.0° (6.0°) | 9.0° | **3.0°** (7 of 8) |" in page
    )
    assert "| `side` | 8 | 8 | 100 % | 100 % | 88 % | – | 4.0° |" in page
    assert "| Contact | `side` | 8 | 100 % | −3 ms | 5 ms | 12 ms | 0.31 | 97 % |" in page
    assert "(`tempo`) | 7 of 8 | +0.004 s | 0.012 s | 0.024 s |" in page


def test_every_table_is_whole(document: Accuracy) -> None:
    """As many cells in every row as in the head; a bar inside a cell is escaped."""
    lines = accuracy_page(document, "p.svg").splitlines()
    rows = 0
    for before, line in pairwise(lines):
        if before.startswith("|") and line.startswith("|"):
            rows += 1
            assert before.count("|") == line.count("|"), line
    assert rows > 10
    assert table(["a"], [["x|y"]]).splitlines()[-1] == "| x\\|y |"


def test_a_buyer_reads_what_to_trust_from_where(document: Accuracy) -> None:
    side, behind = (plain(trust(document, view)) for view in (View.SIDE, View.BEHIND))
    assert "**Within the aim:** front knee flexion (trophy position) 3.0°\n" in side
    assert (
        "**Over the aim, take as a tendency:** weight over the rear foot (loading) 5.0 points"
        in side
    )
    assert "(100 %), more than promised" in side
    assert "one serve:** front knee flexion (trophy position)" in behind
    assert "better than a blind guess:** set-up to contact 0.012 s" in side
    assert "**Not reported from here:** weight over the rear foot (loading)" in behind
    assert "3 of 7 (43 %), too few" in behind


def test_the_limits_name_what_a_share_of_few_serves_is_worth(document: Accuracy) -> None:
    text = limits(document)
    assert "Rendered people, not real ones" in text
    said = int(re.search(r"true share of (\d+) %", text)[1])  # type: ignore[index]
    # Clopper-Pearson bound of scipy: 8 of 8, one-sided 95 %.
    bound = binomtest(8, 8, alternative="greater").proportion_ci(0.95, method="exact").low
    assert said == round(100 * bound)


def test_bars_and_dots_stand_where_the_figures_say(document: Accuracy) -> None:
    root = ElementTree.fromstring(accuracy_picture(document))
    unit = PLOT / 2 / REACH
    bars = [r for r in root.iter(f"{SVG}rect") if r.get("class") in {"within", "over"}]
    bars = [bar for bar in bars if float(bar.get("y", 0)) < float(root.get("height", 0)) - 60]
    # side: load share 5 of 4 points, knee 3 of 4 degrees; behind: knee 10 of 6 degrees
    widths = [float(bar.get("width", 0)) / 2 / unit for bar in bars]
    assert widths == pytest.approx([1.25, 0.75, 10 / 6], abs=0.01)
    assert [bar.get("class") for bar in bars] == ["over", "within", "over"]
    dots = list(root.iter(f"{SVG}circle"))[:3]
    middles = [float(b.get("x", 0)) + float(b.get("width", 0)) / 2 for b in bars]
    leans = [(float(d.get("cx", 0)) - m) / unit for d, m in zip(dots, middles, strict=True)]
    assert leans == pytest.approx([0.0, -0.5, 9.9 / 6], abs=0.01)
    words = [plain(t.text) for t in root.iter(f"{SVG}text")]
    assert words.count("not reported") == 1
    assert {"side", "behind", "3.0°", "5.0 points", "10.0°"} <= set(words)


def test_an_error_off_the_scale_is_drawn_with_points(document: Accuracy) -> None:
    far = metric("front_knee_flexion@trophy", "side", -90.0, 90.0)
    picture = accuracy_picture(document.model_copy(update={"metrics": (far,)}))
    root = ElementTree.fromstring(picture)
    assert len(list(root.iter(f"{SVG}path"))) == 2
    assert "90.0°" in picture


def test_the_picture_stands_alone_in_light_and_dark(document: Accuracy) -> None:
    picture = accuracy_picture(document)
    root = ElementTree.fromstring(picture)
    style = root.find(f"{SVG}style")
    assert style is not None
    assert "prefers-color-scheme:dark" in str(style.text)
    # A letter is 6.5 units wide on average: the words of the legend end inside the picture.
    ends = [float(t.get("x", 0)) + 6.5 * len(str(t.text)) for t in root.iter(f"{SVG}text")]
    assert max(ends) <= float(root.get("width", 0))
    assert root.get("role") == "img"
    assert "side: 1 of 2 within the aim" in str(root.get("aria-label"))
    assert not re.search(r"(href|url\(|@import|<script)", picture)


def test_the_page_is_the_same_every_time(document: Accuracy) -> None:
    again = Accuracy.model_validate_json(document.model_dump_json())
    assert accuracy_page(again, "p.svg") == accuracy_page(document, "p.svg")
    assert accuracy_picture(again) == accuracy_picture(document)
