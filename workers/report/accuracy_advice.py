"""What the figures of an accuracy document mean for someone who wants to rely on them."""

from __future__ import annotations

from collections.abc import Sequence

from models.contract.accuracy import Accuracy, MetricAccuracy
from models.contract.vocabulary import View
from workers.report.accuracy_aims import amount, label, met

PLACES: dict[View, str] = {
    View.FRONT: "at the net, close to the target line",
    View.FRONT_QUARTER: "between the net and the side the chest faces",
    View.SIDE: "square to the target line, on the side the chest faces in the stance",
    View.REAR_QUARTER: "between that side and straight behind",
    View.BEHIND: "behind the baseline, close to the target line",
    View.BACK_SIDE: "square to the target line, on the side the back faces in the stance",
    View.UNKNOWN: "not known",
}
FEW = 20
"""Below this many serves a share is worth little; the page says so beside it."""
LOPSIDED = 0.75
"""A bias of this share of the mean absolute error means that most errors point one way."""


def how_to_read(document: Accuracy) -> str:
    """Return the meaning of the columns."""
    nominal = "\n".join(
        [
            "- **Mean absolute error**: by how much a single serve's value was off, on average. "
            "More than half of the values are closer than that, few are off by more than three "
            "times it; *95 of 100 within* says it of the worse ones.",
            "- **Bias**: by how much all values together were off to one side. It does not "
            "shrink when you average serves, but it drops out where two films from the same "
            "camera position are compared. Compare a player with the same player first, with "
            "published values second.",
            "- **Interval holds the truth**: every value comes with a 95 % interval. About 95 of "
            "100 should hold the true value: far fewer, and the interval promises too much; all "
            "of many, and it is wider than it need be.",
            "- **Given**: where a camera position cannot support a value, none is given; the "
            "result says why and which position would.",
            "- The picture shows the mean absolute error as a bar to both sides and the bias as "
            "a dot. A bar that stays inside the shaded band keeps the aim.",
        ]
    )
    return nominal + "\n\n" + _rule_of_use(document)


def _rule_of_use(document: Accuracy) -> str:
    return (
        "In practice: read a value together with its interval, not alone. Two values whose "
        "intervals overlap widely are not shown to differ; `servewright compare` works out what "
        "is more than noise. Average three serves or more before telling a player anything."
    )


def trust(document: Accuracy, view: View) -> str:
    """Return how far to trust the values from one camera position."""
    rows = [row for row in document.metrics if row.view == view.value]
    facts = next(row for row in document.views if row.view == view.value)
    serves = f"{facts.serves} serve{'' if facts.serves == 1 else 's'}"
    films = f"{facts.clips} film{'' if facts.clips == 1 else 's'}"
    lines = [
        f"### `{view.value}`",
        "",
        f"The camera stands {PLACES[view]}. {films}, {serves}.",
        "",
        *_bullets(rows, view),
    ]
    return "\n".join(lines)


def _bullets(rows: Sequence[MetricAccuracy], view: View) -> list[str]:
    given = [row for row in rows if row.mae is not None]
    better = [row for row in given if not _useless(row)]
    groups = {
        "Within the aim": [row for row in given if met(row, view) is True],
        "Over the aim, take as a tendency": [row for row in better if met(row, view) is False],
        "No aim set, better than a blind guess": [
            row for row in better if met(row, view) is None and row.guess_mae is not None
        ],
    }
    lines = [
        f"- **{title}:** " + "; ".join(f"{_short(row)} {amount(row, row.mae)}" for row in chosen)
        for title, chosen in groups.items()
        if chosen
    ]
    useless = [row for row in given if _useless(row)]
    if useless:
        lines.append(
            "- **No better than a blind guess, so tells nothing about one serve:** "
            + "; ".join(map(_short, useless))
        )
    leaning = [row for row in given if _leans(row) and not _useless(row)]
    if leaning:
        words = "; ".join(f"{_short(row)} {amount(row, row.bias, signed=True)}" for row in leaning)
        lines.append(f"- **Off to one side, so compare only with films of this position:** {words}")
    missing = [row for row in rows if row.measured == 0]
    if missing:
        lines.append("- **Not reported from here:** " + "; ".join(map(_short, missing)))
    lines += _intervals(given)
    return lines or ["- Nothing was measured from here."]


def _intervals(given: Sequence[MetricAccuracy]) -> list[str]:
    counted = [row for row in given if row.covered is not None]
    total = sum(row.measured for row in counted)
    if not total:
        return []
    inside = sum(row.covered or 0 for row in counted)
    share = inside / total
    verdict = "as promised"
    if share < 0.90:
        verdict = "too few: take the intervals as wider than they say"
    elif share > 0.99:
        verdict = "more than promised: the intervals are wider than they need be"
    return [
        f"- **Intervals that hold the truth**, all metrics together: {inside} of {total} "
        f"({100 * share:.0f} %), {verdict}."
    ]


def _leans(row: MetricAccuracy) -> bool:
    few = row.measured < 3
    if few or not row.mae or row.bias is None or row.guess_mae is None:
        return False
    # A lean that is small beside the differences between players misleads nobody.
    return abs(row.bias) >= LOPSIDED * row.mae and abs(row.bias) >= 0.5 * row.guess_mae


def _useless(row: MetricAccuracy) -> bool:
    return row.mae is not None and row.guess_mae is not None and row.mae >= row.guess_mae


def _short(row: MetricAccuracy) -> str:
    words = label(row)
    return words[0].lower() + words[1:]


def limits(document: Accuracy) -> str:
    """Return what this measurement cannot say."""
    lines = [
        "- **Rendered people, not real ones.** Real films will be worse: loose clothes, hair, "
        "shadows, bad light, rolling shutters, hard compression, people in front of people, and "
        "movements that no generator draws. Take the figures here as the best case.",
        "- The true values are those of the rendered body's joint centres. A laboratory's markers "
        "sit on the skin and place the centres elsewhere, which alone shifts angles by some "
        "degrees.",
        "- The weight over a foot is worked out from the body's posture and a table of segment "
        "masses, here and in the truth. Nobody stood on a force plate.",
        "- The error terms behind the intervals come from films of the same generator, drawn from "
        "another seed. On real films fewer intervals will hold the truth.",
    ]
    fewest = min((row for row in document.views if row.view != "all"), key=lambda row: row.serves)
    if fewest.serves:
        # Exact one-sided 95 % bound of a binomial share seen n times of n: 0.05 ** (1 / n).
        bound = 0.05 ** (1 / fewest.serves)
        few = "few serves" if fewest.serves < FEW else "a limited number of serves"
        lines.append(
            f"- Each position is judged by {few}. {fewest.serves} of {fewest.serves}, the most "
            f"that `{fewest.view}` can show, is compatible with a true share of "
            f"{100 * bound:.0f} %."
        )
    if document.clip_set.heights_given:
        lines.append(
            "- The standing height was given with each film. Without it, lengths and speeds in "
            "metres are off by as much as the assumed height."
        )
    lines.append(
        "- Technique and load are matters for licensed practice, and for local rules where "
        "minors are concerned: no number here is a reason to push anyone into pain."
    )
    return "\n".join(lines)
