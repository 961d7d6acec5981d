"""The report of one analysis: what leads, what is said of the unmeasured, and that it is whole."""

from __future__ import annotations

import base64
import re
from itertools import pairwise

import pytest

from models.contract.analysis import CAUTIONS, Metric
from models.contract.plan import Drill
from models.contract.thresholds import Threshold
from models.contract.vocabulary import EventName, RepetitionKind
from models.words import english
from tests.unit.report import documents
from tests.unit.report.outline import Outline
from workers.report.analysis_page import Card, _next, analysis_page
from workers.report.findings import BANDS, Band, pooled, ruled, statements
from workers.report.from_coach import FromCoach
from workers.report.pictures import event_pictures


@pytest.fixture(scope="module")
def pictures(right_side):
    case = right_side
    return event_pictures(
        case.frames, case.analysis, case.track, [case.body], [case.centre_of_mass]
    )


@pytest.fixture(scope="module")
def plan():
    return documents.plan()


@pytest.fixture(scope="module")
def page(right_side, pictures, plan):
    return analysis_page(right_side.analysis, pictures, plan=plan, player="Mira <Tolland>")


@pytest.fixture(scope="module")
def outline(page):
    return Outline(page)


def test_the_page_needs_nothing_from_outside(page, outline):
    assert not re.search(r"(?:src|href)=\"(?!data:|#)", page)
    assert "url(" not in page
    assert "@import" not in page
    assert outline.all("script") == []
    policy = next(
        m for m in outline.all("meta") if m.get("http-equiv") == "Content-Security-Policy"
    )
    assert policy["content"].startswith("default-src 'none'; img-src data:")


def test_the_page_is_marked_up_for_everyone(outline):
    assert outline.all("html") == [{"lang": "en", "dir": "ltr"}]
    assert len(outline.all("h1")) == 1
    assert all(image["alt"] and image["width"] and image["height"] for image in outline.all("img"))
    assert all(svg["role"] == "img" and svg["aria-label"] for svg in outline.all("svg"))
    assert all(th.get("scope") for th in outline.all("th"))
    ids = [attrs["id"] for _, attrs in outline.tags if "id" in attrs]
    assert len(ids) == len(set(ids))
    named = [attrs["aria-labelledby"] for _, attrs in outline.tags if "aria-labelledby" in attrs]
    assert set(named) <= set(ids)
    levels = [int(tag[1]) for tag, _ in outline.tags if re.fullmatch(r"h[1-6]", tag)]
    assert all(b - a <= 1 for a, b in pairwise(levels))


def test_the_pictures_are_the_files_themselves(outline, pictures):
    held = [base64.b64decode(str(image["src"]).partition(",")[2]) for image in outline.all("img")]
    plain = [data for name, data in pictures.items() if name.endswith("-plain.jpg")]
    assert held == plain + [data for data in pictures.values() if data not in plain]
    assert "Weight over the rear foot 43\N{NO-BREAK SPACE}%" in str(outline.all("img")[0]["alt"])


def test_order_is_the_first_screen_findings_plan_then_what_is_folded(outline):
    heads = [
        "Too little weight over the rear foot.", "One thing to do next", "Static hold",
        "Three things to know", "Your practice plan", "All pictures, with numbers", "All numbers",
        "About this film", "How to read the numbers",
    ]  # fmt: skip
    places = [outline.text.index(head) for head in heads]
    assert places == sorted(places)


def test_the_coachs_message_stands_on_the_first_screen_as_it_is(right_side, plan):
    said = "Well done, Mira.\nNext: <feet> first."
    page = analysis_page(right_side.analysis, {}, plan=plan, coach=FromCoach(message=said))
    place = page.index("Next: &lt;feet&gt; first.")
    assert page.index("One thing to do next") < place < page.index('id="h-findings"')
    assert "From your coach" not in analysis_page(right_side.analysis, {}, plan=plan)


def test_a_drill_leads_to_the_coachs_film_of_it(right_side, plan):
    drill = plan.steps[0].drill
    given = drill.model_dump(by_alias=True)
    linked = Drill.model_validate(given | {"link": "https://a.example/f?a=1&b"})
    step = plan.steps[0].model_copy(update={"drill": linked})
    page = analysis_page(right_side.analysis, {}, plan=plan.model_copy(update={"steps": (step,)}))
    assert 'href="https://a.example/f?a=1&amp;b" rel="noopener noreferrer"' in page
    for bad in ("http://a.example", "javascript:alert(1)", 'https://a.example/"x', "https://"):
        with pytest.raises(ValueError, match="link"):
            Drill.model_validate(given | {"link": bad})


def test_cautions_stand_beside_what_they_concern(page):
    work = page.index("Not medical advice. Stop on pain.")
    assert page.index("One thing to do next") < work < page.index('id="h-findings"')
    numbers = page.index("Estimates from film, not from force plates")
    assert page.index('id="h-findings"') < numbers < page.index('id="h-plan"')
    assert page.index("Local rules on filming") > page.index("<footer")


def test_the_focus_of_the_plan_leads_and_three_things_are_said(right_side, plan):
    found = statements(right_side.analysis, english(), plan)
    assert len(found) == 3
    assert found[0].headline == "Too little weight over the rear foot"
    assert found[0].tone == "work"
    # Never the same metric twice.
    keys = [(s.number.metric.key, s.number.metric.event) for s in found]
    assert len(set(keys)) == 3


def test_every_number_has_its_interval_and_every_gap_its_reason(right_side, outline):
    words = english()
    for metric in right_side.analysis.repetitions[0].metrics:
        if metric.measurable:
            assert words.interval(metric.low, metric.high, metric) in outline.text
        else:
            assert metric.reason.text in outline.text


def test_names_and_reasons_cannot_inject_markup(page):
    assert "Mira &lt;Tolland&gt;" in page
    assert "<Tolland>" not in page


def test_cautions_come_from_analysis_and_plan_each_once(outline):
    for caution in (*(one.text for one in CAUTIONS), "Warm up first."):
        assert outline.text.count(caution) == 1


def test_plan_steps_say_dose_film_and_when_to_move_on(outline):
    text = outline.text.replace("\N{NO-BREAK SPACE}", " ")
    assert "3 sets of 5, each held 3 s; 30 s rest between sets, 3 days a week." in text
    assert "From the side, 30 pictures a second or more." in text
    assert "weight over the rear foot at least 60 % in 3 repetitions" in text
    assert "How sure: more than 99 %." in text
    assert "Contact low: not measured in these clips" in text


def _with(analysis, key, event, **changes):
    repetition = analysis.repetitions[0]
    metrics = tuple(
        m.model_copy(update=changes) if (m.key, m.event) == (key, event) else m
        for m in repetition.metrics
    )
    changed = repetition.model_copy(update={"metrics": metrics})
    return analysis.model_copy(update={"repetitions": (changed,)})


# Published: front knee at trophy 64.5 ± 9.7 deg, so mean ± 2 SD is 45.1 to 83.9
# (Front Sports Act Living 2024, doi 10.3389/fspor.2024.1432030).
@pytest.mark.parametrize(
    ("value", "half", "start", "tone"),
    [
        (64.5, 5, "Your front knee bends as much", "fine"),
        (30, 5, "Your front knee bends less", "work"),
        (95, 5, "Your front knee bends more", "work"),
        # 2.3 below the edge with an error of 5 / 1.96 = 2.55: normal probability 0.816.
        (42.8, 5, "Probably: your front knee bends less", "look"),
        # 3 inside: probability 0.880.
        (48.1, 5, "Probably: your front knee bends as much", "look"),
    ],
)
def test_a_statement_is_as_firm_as_its_interval_allows(right_side, value, half, start, tone):
    analysis = _with(
        right_side.analysis, "front_knee_flexion", EventName.TROPHY,
        value=value, low=value - half, high=value + half,
    )  # fmt: skip
    # Leave only this metric, so that nothing else can take its place among the three.
    only = analysis.repetitions[0].model_copy(
        update={
            "metrics": tuple(
                m for m in analysis.repetitions[0].metrics if m.key == "front_knee_flexion"
            )
        }
    )
    found = statements(analysis.model_copy(update={"repetitions": (only,)}), english())
    assert found[0].headline.startswith(start)
    assert found[0].tone == tone
    assert len(found) == 2
    assert "Not enough" in found[1].headline


def test_sure_work_comes_before_what_is_fine_and_what_is_unsure(right_side):
    tones = [s.tone for s in statements(right_side.analysis, english())]
    order = {"work": 0, "fine": 1, "look": 2}
    assert tones == sorted(tones, key=order.__getitem__)


@pytest.mark.parametrize(
    ("tones", "said"),
    [
        (("fine", "fine"), "Keep your serve as it is"),
        (("fine", "look"), "Film again from the same place"),  # something may well be wrong
        (("work", "fine"), "work on this alone"),
    ],
)
def test_a_serve_is_left_as_it_is_only_where_all_is_fine(right_side, tones, said):
    cards = [Card("A", ("b",), tone, None) for tone in tones]
    assert said in _next(right_side.analysis, cards, english())


def test_bands_cite_the_published_values():
    bands = {(b.key, b.event): b for b in BANDS}
    knee = bands[("front_knee_flexion", EventName.TROPHY)]
    assert (knee.low, knee.high) == pytest.approx((45.1, 83.9))
    trunk = bands[("trunk_inclination", EventName.TROPHY)]
    assert (trunk.low, trunk.high) == pytest.approx((10.8, 39.2))
    for band in BANDS:
        assert english()(f"finding.{band.key}.{band.event.value}.source")


def test_pooling_serves_keeps_the_width_of_the_interval(right_side):
    one = right_side.analysis.repetitions[0]
    moved = _with(
        right_side.analysis, "front_knee_flexion", EventName.TROPHY,
        value=60.0, low=58.0, high=62.0,
    ).repetitions[0]  # fmt: skip
    analysis = right_side.analysis.model_copy(update={"repetitions": (one, moved)})
    both = pooled(analysis, "front_knee_flexion", EventName.TROPHY)
    metric = next(m for m in one.metrics if m.key == "front_knee_flexion")
    assert both.repetitions == 2
    assert both.value == pytest.approx((metric.value + 60) / 2)
    assert both.high - both.low == pytest.approx(((metric.high - metric.low) + 4) / 2)


def test_a_film_without_a_serve_says_what_to_film(right_side):
    empty = right_side.analysis.model_copy(update={"repetitions": ()})
    text = Outline(analysis_page(empty, {})).text
    assert "No serve, swing, throw or hold was found" in text
    assert "from head to feet" in text
    assert all(caution.text in text for caution in CAUTIONS)


def test_metrics_the_catalogue_does_not_know_keep_their_title(right_side):
    extra = Metric(
        key="made_up_angle", title="Made-up angle", event=None, value=1, low=0, high=2,
        unit="deg", measurable=True, reason=None, method="two_methods", reference=None,
    )  # fmt: skip
    one = right_side.analysis.repetitions[0]
    changed = one.model_copy(update={"metrics": (*one.metrics, extra)})
    text = Outline(
        analysis_page(right_side.analysis.model_copy(update={"repetitions": (changed,)}), {})
    ).text
    assert "Made-up angle" in text
    assert "two_methods" in text  # methods differ, so each row names its own


# Standard normal table: P(Z < 1) = 0.8413, P(Z < 1.96) = 0.9750.
@pytest.mark.parametrize(("z", "probability"), [(1.0, 0.8413), (1.96, 0.975)])
def test_certainty_is_the_normal_probability_of_the_side_it_lies_on(z, probability):
    band = Band("x", EventName.TROPHY, 10.0, None)
    found = band.certainty(10 - z * 2, 10 - z * 2 - 1.96 * 2, 10 - z * 2 + 1.96 * 2)
    assert found == pytest.approx(probability, abs=1e-4)


def test_a_film_of_drills_is_called_practice(right_side):
    one = right_side.analysis.repetitions[0].model_copy(update={"kind": RepetitionKind.HOLD})
    page = analysis_page(right_side.analysis.model_copy(update={"repetitions": (one,)}), {})
    assert "Your practice, measured" in Outline(page).text


def test_a_finding_that_is_no_more_than_perhaps_is_not_shown(right_side, plan):
    weak = plan.model_copy(update={"focus": plan.focus.model_copy(update={"certainty": 0.7})})
    found = statements(right_side.analysis, english(), weak)
    assert not any("too little weight" in one.headline for one in found)
    assert not any(one.headline.startswith("Perhaps") for one in found)


def test_a_threshold_of_the_coach_is_what_cards_and_strips_show():
    band = Band("rear_foot_load_share", EventName.LOADING, 0.60, None)
    own = Threshold(
        finding="weight", metrics=("rear_foot_load_share",), event=EventName.LOADING,
        is_="<=", value=0.5, unit="1", source="my own rule",
    )  # fmt: skip
    assert ruled(band, own) == Band(
        "rear_foot_load_share", EventName.LOADING, 0.5, None, own.source
    )
    assert ruled(band, own.model_copy(update={"value": 0.6})) == band
    assert ruled(band, None) == band
