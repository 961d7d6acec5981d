"""The files of a comparison: document, report, pictures at matched events, side-by-side film."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from markupsafe import Markup

from models.contract.comparison import Comparison, Verdict
from models.contract.note import Note, note
from models.contract.note_codes import NoteCode
from models.contract.plan import PracticeRules
from models.contract.vocabulary import EventName, Language, RepetitionKind, Role
from models.practice.rules import shipped_rules, thresholds_of
from models.words import Words, catalogue
from workers.decide.compare import Group, compare
from workers.decide.timewarp import register
from workers.decide.trajectories import match_trajectories
from workers.decide.verdicts import goals_of
from workers.derive.source import Source, best_repetition, with_minor_cautions
from workers.engine.mass import centre_of_mass
from workers.pipeline.faces import face_cover
from workers.pipeline.result_files import JPEG, MP4, ResultFile, beside, json_file, page_file
from workers.pipeline.run import Drawings
from workers.pipeline.side_frames import Cover, film_frames, with_frames
from workers.report.canvas import Picture
from workers.report.comparison_page import comparison_page
from workers.report.from_coach import NOTHING, FromCoach
from workers.report.instants import PICTURED, instants_of
from workers.report.matching import Side
from workers.report.pair_film import FilmImpossible, pair_film
from workers.report.pictures import picture_name
from workers.report.side_by_side import matched_pictures
from workers.report.trajectory import trajectory_plot
from workers.video.limits import DecodeLimits

PER_PHASE = 25
"""Points of a trajectory between two events (working value)."""


@dataclass(frozen=True, slots=True)
class ComparedSide:
    """One side: what to call it, its analyses, and whether they show a model."""

    label: str
    sources: tuple[Source, ...]
    role: Role = Role.PLAYER


@dataclass(frozen=True, slots=True)
class _Shown:
    """The repetition of one side that is shown, and its film."""

    side: Side
    film: Path | None
    capture_fps: float | None
    faces_hidden: bool

    @property
    def cover(self) -> Cover | None:
        """What hides the faces in its film, if they are hidden."""
        return face_cover if self.faces_hidden else None


def comparison_files(
    first: ComparedSide,
    second: ComparedSide,
    limits: DecodeLimits,
    *,
    kind: RepetitionKind = RepetitionKind.SERVE,
    film: bool = True,
    minor: bool = False,
    also_hidden: bool = False,
    same_player: bool = False,
    focus: Sequence[str] = (),
    rules: PracticeRules | None = None,
    coach: FromCoach = NOTHING,
    language: Language = Language.ENGLISH,
) -> tuple[Comparison, tuple[ResultFile, ...]]:
    """Return the comparison of two sides and its files.

    Parameters
    ----------
    limits : DecodeLimits
        For reading the films again.
    film : bool
        Also make the side-by-side film. Why there is none, where there cannot be, is a note.
    minor : bool
        A player may be under 18.
    also_hidden : bool
        Make pictures, page and film a second time, with hidden faces.
    same_player : bool
        Both sides show one player.
    focus : sequence of str
        What was worked on: metric keys, or ``key@event``.
    rules : PracticeRules or None
        Whose goals say which way a change went, and where the weight should fall; None = the
        shipped ones.
    language : Language
        Of the report, the pictures and the film.
    """
    words = catalogue(language.value)
    groups = [
        Group(side.label, tuple((s.name, s.analysis) for s in side.sources), kind)
        for side in (first, second)
    ]
    rules = rules or shipped_rules()
    goals = goals_of(rules)
    comparison = compare(groups[0], groups[1], same_player=same_player, focus=focus, goals=goals)
    notes: list[Note] = []
    drawn: list[Drawings] = [Drawings()]
    path: Markup | None = None
    events: tuple[tuple[EventName, int], ...] = ()
    shown = [_shown(side, kind) for side in (first, second)]
    one, two = shown
    if one is not None and two is not None:
        path, events = _trajectories(one.side, two.side, words)
        if one.film is None or two.film is None:
            notes.append(note(NoteCode.FILMS_NOT_AT_HAND))
        else:
            hidden = (replace(one, faces_hidden=True), replace(two, faces_hidden=True))
            drawn = []
            twice = also_hidden and not (one.faces_hidden and two.faces_hidden)
            for pair in [(one, two), hidden] if twice else [(one, two)]:
                with_frames = [_with_frames(side, limits) for side in pair]
                pictures = matched_pictures(
                    *with_frames, thresholds=thresholds_of(rules), words=words
                )
                made, why = _film(*pair, limits, words) if film else (None, None)
                drawn.append(Drawings(pictures, made))
                if why and not notes:
                    notes.append(note(NoteCode.NO_PAIR_FILM, why=why))
    comparison = comparison.model_copy(
        update={
            "first": comparison.first.model_copy(update={"role": first.role}),
            "second": comparison.second.model_copy(update={"role": second.role}),
            "notes": (*comparison.notes, *notes),
            "cautions": with_minor_cautions(comparison.cautions, minor),
        }
    )

    def shows(one: Drawings) -> Iterator[ResultFile]:
        yield page_file(
            comparison_page(
                comparison, one.pictures, path=path, path_events=events, coach=coach,
                words=words,
            )
        )  # fmt: skip
        for name, data in sorted(one.pictures.items()):
            yield ResultFile(f"pictures/{name}", f"pictures/{name}", JPEG, data)
        if one.film is not None:
            yield ResultFile("film.mp4", "film.mp4", MP4, one.film)

    files = [json_file("result", comparison), *shows(drawn[0])]
    if also_hidden:
        files += [beside(file) for file in shows(drawn[-1])]
    return comparison, tuple(files)


def headline(comparison: Comparison) -> dict[str, object]:
    """Return the few values that an event body carries."""
    rows = comparison.differences
    values: dict[str, object] = {
        verdict.value: sum(row.verdict is verdict for row in rows) for verdict in Verdict
    }
    values["changes"] = [
        {
            "key": row.key,
            "event": row.event.value if row.event else None,
            "difference": row.difference,
            "low": row.low,
            "high": row.high,
            "unit": row.unit,
        }
        for row in rows
        if row.verdict is Verdict.SURELY_CHANGED
    ]
    return values


def _shown(compared: ComparedSide, kind: RepetitionKind) -> _Shown | None:
    found = best_repetition(compared.sources, kind)
    if found is None:
        return None
    source, number, repetition = found
    track, bodies = source.joints()
    body = bodies[number] if number < len(bodies) else None
    side = Side(
        label=compared.label,
        repetition=repetition,
        track=track,
        handedness=source.analysis.handedness,
        own={}
        if source.own is None
        else {
            instant.events[0]: source.own.on(
                picture_name(repetition, number + 1, instant.events[0])
            )
            for instant in instants_of(repetition)
        },
        body=body,
        centre_of_mass=None if body is None else centre_of_mass(body.joints, source.analysis.sex),
    )
    fps = source.analysis.clip.capture_fps_given
    return _Shown(side, source.film(), fps, source.faces_hidden)


def _with_frames(shown: _Shown, limits: DecodeLimits) -> Side:
    """Return the side with the frames of the pictured events."""
    side = shown.side
    assert shown.film is not None
    wanted = [frame for event in PICTURED if (frame := side.event_frame(event)) is not None]
    return with_frames(side, wanted, shown.film, shown.capture_fps, limits, shown.cover)


def _trajectories(
    one: Side, two: Side, words: Words
) -> tuple[Markup | None, tuple[tuple[EventName, int], ...]]:
    """Return the plot of the joint paths, and the rows of the events in it."""
    registration = register(one.repetition.events, two.repetition.events)
    if registration is None or one.body is None or two.body is None:
        return None, ()
    matched = match_trajectories(one.body, two.body, registration, per_phase=PER_PHASE)
    seen = [np.isfinite(matched.first), np.isfinite(matched.second)]
    if not all(part.any() for part in seen):
        return None, ()
    events = tuple(
        (event, int(np.argmin(np.abs(matched.phase - number))))
        for number, event in enumerate(registration.events)
    )
    plot = trajectory_plot(
        matched.first,
        matched.second,
        first_label=one.label,
        second_label=two.label,
        events=events,
        words=words,
    )
    return plot, events


def _film(
    one: _Shown, two: _Shown, limits: DecodeLimits, words: Words
) -> tuple[bytes | None, str | None]:
    """Return the side-by-side film, or why there is none."""
    with ExitStack() as stack:
        try:
            return pair_film(
                one.side,
                two.side,
                _frames(one, limits, stack),
                _frames(two, limits, stack),
                words=words,
            ), None
        except ValueError as error:
            return None, error.reason if isinstance(error, FilmImpossible) else "failed"


def _frames(shown: _Shown, limits: DecodeLimits, stack: ExitStack) -> Iterator[tuple[int, Picture]]:
    assert shown.film is not None
    return film_frames(shown.side, shown.film, shown.capture_fps, limits, shown.cover, stack)


def sides(
    first: str,
    second: str,
    sources: Sequence[tuple[str, Source]],
    models: Collection[str] = (),
) -> tuple[ComparedSide, ComparedSide]:
    """Return the two sides from sources marked ``first`` or ``second``; ``models``: the marks of
    those that show a model.
    """

    def side(label: str, mark: str) -> ComparedSide:
        role = Role.MODEL if mark in models else Role.PLAYER
        return ComparedSide(label, tuple(s for own, s in sources if own == mark), role)

    return side(first, "first"), side(second, "second")
