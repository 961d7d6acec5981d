"""Players whose films were rendered, seen by the pose networks and measured by the engine.

Films are packs of the profile ``decided`` (`models.training.bulk`). What is true of a player is
worked out on the true joints of the films that were judged, never taken from what was asked for.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from models.contract.analysis import Analysis
from models.contract.errors import ServewrightError
from models.contract.vocabulary import RepetitionKind
from models.training.bulk.packs import read
from models.training.packed_films import PackedFilm, packed
from models.training.packed_measure import request_of, true_sample, values_of
from models.training.rendered.invented import PLAYERS, Course, invented
from models.training.rendered.pairs import as_analysis
from models.training.rendered.profiles import DECIDED
from workers.engine.coil import bend_gained, turn_away
from workers.learned import load

from .coiling import TrueCoil
from .judged import LOAD, Films
from .players import Player, Values

PROFILE = "decided"
FILMS = 4 * DECIDED
LEAST_GAIN = 0.05
"""A smaller true gain in the share of weight is none: serves of one player differ by 0.01, and the
players of the profile gain 0.15 or nothing."""
HALF = 0.5
"""Share of a true gain from which it is kept; the profile leaves all of it or a twentieth."""


class WrongFilms(ValueError):
    """Packs that are not of the profile."""


@dataclass(frozen=True)
class Seen:
    """One film: what the engine made of it and what is true.

    Attributes
    ----------
    analysis : Analysis or None
        None where the film could not be measured.
    values : Values
        True values by name of metric and instant; empty where nobody was followed.
    coil : TrueCoil or None
        Of serves.
    """

    kind: RepetitionKind
    analysis: Analysis | None
    values: Values
    coil: TrueCoil | None

    @property
    def found(self) -> int:
        """Repetitions of the film's kind in the analysis."""
        if self.analysis is None:
            return 0
        return sum(r.kind is self.kind for r in self.analysis.repetitions)


@dataclass
class Losses:
    """What was lost of some films."""

    players: int = 0
    incomplete: list[str] = field(default_factory=list)
    films: Counter[RepetitionKind] = field(default_factory=Counter)
    failed: Counter[RepetitionKind] = field(default_factory=Counter)
    missed: Counter[RepetitionKind] = field(default_factory=Counter)
    several: Counter[RepetitionKind] = field(default_factory=Counter)

    def count(self, film: Seen) -> None:
        """Note what became of one film."""
        self.films[film.kind] += 1
        self.failed[film.kind] += film.analysis is None
        self.missed[film.kind] += film.analysis is not None and film.found == 0
        self.several[film.kind] += film.found > 1

    def told(self) -> str:
        """Return a sentence on what was lost."""
        parts = [
            f"of {count} films of a {kind.value} {self.failed[kind]} could not be measured, in "
            f"{self.missed[kind]} none was found, in {self.several[kind]} more than one"
            for kind, count in self.films.items()
        ]
        left_out = (
            f" Players left out, because not all of their films are there or none of a session "
            f"was followed: {', '.join(self.incomplete)}."
            if self.incomplete
            else ""
        )
        return f"{self.players} players; {'; '.join(parts)}.{left_out}"


Whose = tuple[int, int]
"""Seed of the films, and number of the player."""


def complete_players(
    measured: Mapping[Whose, Sequence[Seen]], losses: Losses
) -> Iterator[tuple[Player, Films]]:
    """Yield each player whose films are all there, with what was made of them; count what is lost.

    ``measured``: the films of a player in their order, `DECIDED` of each sitting.
    """
    for (seed, body), films in sorted(measured.items()):
        name = f"{seed}-{body + 1}"
        sittings = [films[n : n + DECIDED] for n in range(0, FILMS, DECIDED)]
        followed = all(any(film.values for film in sitting) for sitting in sittings)
        if len(films) < FILMS or not followed:
            losses.incomplete.append(name)
            continue
        losses.players += 1
        for film in films:
            losses.count(film)
        yield player_of(name, invented(body % PLAYERS).coils, sittings), films_of(sittings)


def measured_films(packs: Iterable[Path]) -> dict[Whose, list[Seen]]:
    """Measure all films of some packs as the service would.

    Raises
    ------
    WrongFilms
        If a pack holds films of another profile.
    """
    found: dict[Whose, dict[int, Seen]] = defaultdict(dict)
    for path in packs:
        for film in read(path):
            if film.notes["profile"] != PROFILE:
                raise WrongFilms(
                    f"{path} holds films of the profile {film.notes['profile']!r}; make films with "
                    f"`python -m models.training bulk --profile {PROFILE}`"
                )
            body, number = divmod(int(film.notes["index"]), FILMS)
            found[int(film.notes["seed"]), body][number] = seen(
                packed(film), RepetitionKind(film.kind)
            )
    return {whose: [films[n] for n in sorted(films)] for whose, films in found.items()}


def seen(film: PackedFilm | None, kind: RepetitionKind) -> Seen:
    """Measure one film as the service would; None = nobody was followed in it."""
    if film is None:
        return Seen(kind, None, {}, None)
    try:
        found = load().analyse(film.track, request_of(film, as_reported=True))
    except ServewrightError:
        analysis = None
    else:
        analysis = as_analysis(
            found,
            {
                "n_frames": len(film.track.time_s),
                "fps": film.fps,
                "width": film.track.width,
                "height": film.track.height,
            },
        )
    coil = None
    if kind is RepetitionKind.SERVE:
        body = true_sample(film.motion, film.events)
        coil = TrueCoil(float(turn_away(body)[0]), float(bend_gained(body)[0]))
    return Seen(kind, analysis, values_of(film.motion, kind, film.events), coil)


def films_of(sittings: Sequence[Sequence[Seen]]) -> Films:
    """Return the analyses of the four sittings as decisions take them."""
    before, after, later, holds = (
        tuple(film.analysis for film in sitting if film.analysis is not None)
        for sitting in sittings
    )
    return Films(before, after, later, holds, tuple(film.values for film in sittings[3]))


def player_of(name: str, coils: bool, sittings: Sequence[Sequence[Seen]]) -> Player:
    """Return a player as the films truly show: means over the serves of each session.

    ``coils``: what was asked for; judged is how far the player truly turns and bends.
    """
    before, after, later, held = (mean([film.values for film in one]) for one in sittings)
    turns = [film.coil for film in sittings[0] if film.coil is not None]
    return Player(
        name=name,
        load=before[LOAD],
        coils=coils,
        course=course_of(before[LOAD], after[LOAD], later[LOAD]),
        held=held[LOAD],
        baseline=before,
        practised=after,
        later=later,
        coil=TrueCoil(
            float(np.mean([one.turn for one in turns])), float(np.mean([one.bend for one in turns]))
        ),
    )


def mean(values: Sequence[Values]) -> Mapping[str, float]:
    """Return the mean of each value over the repetitions that have it."""
    names = dict.fromkeys(name for one in values for name in one)
    return {name: float(np.mean([one[name] for one in values if name in one])) for name in names}


def course_of(before: float, after: float, later: float) -> Course:
    """Return what practice truly did to a share of weight, and whether it stayed."""
    gain = after - before
    if gain < LEAST_GAIN:
        return "no_gain"
    return "kept" if later - before >= HALF * gain else "relapse"
