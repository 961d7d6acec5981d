"""The judgement "turned away, or only bent" on films with known joints, by camera place.

``python -m models.training coil-films PACKS --out infra/accuracy/coil.md``: packed films (``python
-m models.training bulk``) of serves and slow repetitions, analysed as the service does with nothing
stated of the camera. What is true is the engine's own reading of the true joints at the true
instants.
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from models.contract.coil import CoilJudgement, CoilVerdict
from models.contract.vocabulary import EventName
from models.training.packed_films import PackedFilm, packs_of, read_films
from models.training.packed_measure import request_of, true_sample
from workers.engine.coil import KINDS, LEAST_BEND, TURN_PER_BEND, bend_gained, turn_away
from workers.engine.view import view_of
from workers.learned import load


@dataclass(frozen=True)
class Judged:
    """One film: from where, what is true (turn and bend in degrees), and what was said; None where
    nothing was found.
    """

    view: str
    generator: str
    turn: float
    bend: float
    said: CoilJudgement | None

    @property
    def true(self) -> CoilVerdict:
        """What a judge who knew the joints would say."""
        if self.bend < LEAST_BEND:
            return CoilVerdict.NOT_LOADED
        away = self.turn > TURN_PER_BEND * self.bend
        return CoilVerdict.TURNED_AWAY if away else CoilVerdict.ONLY_BENT

    @property
    def verdict(self) -> CoilVerdict:
        """What was said; undecided where nothing was found."""
        return CoilVerdict.UNDECIDED if self.said is None else self.said.verdict


def judged(film: PackedFilm) -> Judged | None:
    """Return the judgement of one film; None of work that is not loaded from a set-up."""
    if film.kind not in KINDS or not {EventName.SET_UP, EventName.LOADING} <= set(film.events):
        return None
    body = true_sample(film.motion, film.events)
    found = load().analyse(film.track, request_of(film, as_reported=True)).repetitions
    return Judged(
        view_of(film.azimuth_deg).value,
        film.generator,
        float(turn_away(body)[0]),
        float(bend_gained(body)[0]),
        found[0].coil if len(found) == 1 else None,
    )


def _of_pack(order: tuple[Path, int, int]) -> list[Judged]:
    pack, part, parts = order
    films = (film for i, film in enumerate(read_films(pack)) if i % parts == part)
    return [one for one in map(judged, films) if one is not None]


def judge_all(packs: Sequence[Path], processes: int) -> Iterator[Judged]:
    """Yield the judgement of every film of some packs."""
    parts = 4 * processes
    orders = [(pack, part, parts) for pack in packs for part in range(parts)]
    with ProcessPoolExecutor(processes) as pool:
        for found in pool.map(_of_pack, orders):
            yield from found


def page(found: Sequence[Judged], about: str) -> str:
    """Return the report in Markdown."""
    lines = [
        "# Turned away, or only bent",
        "",
        f"{about} {len(found)} films of serves and slow repetitions; true are the judgement's own "
        f"rules ({TURN_PER_BEND:g} degrees of turn for each of bend, {LEAST_BEND:g} degrees of "
        "bend) on the true joints. *Near*: the true turn lies within 5 degrees of the limit.",
        "",
        "| from | films | right | wrong | undecided | of them no work found | place told | near |",
        "| --- | ---: | ---: | ---: | ---: | ---: | ---: | ---: |",
    ]
    views = sorted({one.view for one in found})
    lines += [_row(view, [one for one in found if one.view == view]) for view in views]
    lines += [_row("all", found), "", "| true | said | films |", "| --- | --- | ---: |"]
    pairs = Counter((one.true.value, one.verdict.value) for one in found)
    lines += [f"| {true} | {said} | {count} |" for (true, said), count in sorted(pairs.items())]
    return "\n".join(lines) + "\n"


def _row(name: str, part: Sequence[Judged]) -> str:
    open_ = [one for one in part if one.verdict is CoilVerdict.UNDECIDED]
    right = sum(one.verdict is one.true for one in part)
    lost = sum(one.said is None for one in open_)
    told = sum(one.said is not None and one.said.film_from is not None for one in open_)
    near = sum(abs(one.turn - TURN_PER_BEND * max(one.bend, LEAST_BEND)) < 5.0 for one in part)
    cells = (
        f"{len(part)}",
        _share(right, part),
        _share(len(part) - right - len(open_), part),
        _share(len(open_), part),
        f"{lost}",
        f"{told} of {len(open_) - lost}",
        _share(near, part),
    )
    return f"| {name.replace('_', ' ')} | {' | '.join(cells)} |"


def _share(count: int, of: Iterable[object]) -> str:
    return f"{count / max(len(list(of)), 1):.0%}"


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(prog="python -m models.training coil-films")
    parser.add_argument("films", type=Path, nargs="+", help="packs, or folders of them")
    parser.add_argument("--processes", type=int, default=1)
    parser.add_argument("--about", default="")
    parser.add_argument("--out", type=Path, help="page to write")
    options = parser.parse_args()
    packs = packs_of(options.films)
    text = page(list(judge_all(packs, options.processes)), options.about)
    if options.out is None:
        print(text)
    else:
        options.out.write_text(text, "utf-8")


if __name__ == "__main__":
    from models.training.coil_films import main as named

    named()
