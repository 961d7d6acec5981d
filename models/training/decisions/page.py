"""The page on decisions that were made on rendered films."""

from __future__ import annotations

from collections.abc import Mapping

from .table import Counts, tables

ABOUT_FILMS = "profile `decided`, seed 8871"


def page(by_rate: Mapping[str, Counts], losses: str, about: str) -> str:
    """Return the tables with what they rest on, as Markdown.

    Parameters
    ----------
    by_rate : mapping of str to Counts
        By the frames a second of the serves.
    losses : str
        What was lost of the films.
    about : str
        Where the films come from.
    """
    return "\n".join(
        [
            "# How often decisions are wrong, on rendered films",
            "",
            "Made by `python -m models.training decisions --films PACKS --page "
            "infra/accuracy/decisions.md`. Invented players whose every joint is known were "
            f"rendered ({about}): three serves of a baseline, three after practice, three a week "
            "later, and three static holds of four seconds, one a film, from the side, serves at "
            f"{', '.join(sorted(by_rate))} frames a second and holds at 30. Between sessions the "
            "camera was put back by hand, clothes and light are another day's. The pose networks "
            "saw the films, the engine measured them, and plan, comparison, progress and drill "
            "check decided with "
            "the shipped rules.",
            "",
            losses,
            "",
            *tables(by_rate),
            "",
            "*Wrong*: a finding named that is not there or cleared that is there, a change called "
            "that did not happen or the wrong way, a gain called kept that was lost or the other "
            "way, a drill passed that was not or the other way. *Undecided*: the product says "
            "that it cannot tell, or asks for another film; *near the limit*, in shares of all "
            "cases: undecided, and the true value no farther from the limit than one standard "
            "error that the films state. Truth is the metrics' own formulas on "
            "the true joints of the same films, the mean over a session; the weight is that by "
            "posture.",
            "",
            "**Half out of sample.** These films, bodies and seeds were seen by nothing, and "
            "nothing is tuned on them. But the movements come from the generator `template`, "
            "which made the films that the calibration and the shares of repeated films rest on: "
            "on people who move otherwise, expect worse ([how much of a player a value "
            "tells](information.md)). The lift learned nothing from that generator, but was "
            "chosen on films of it.",
            "",
        ]
    )
