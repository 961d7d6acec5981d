"""``servewright compare``, ``progress``, ``plan``, ``drill-check`` and ``report``: documents made
from finished analyses, in this process, without a server.
"""

from __future__ import annotations

import shutil
import sys
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from models.contract.errors import InvalidRequest
from models.contract.faces import Faces
from models.contract.metric_names import nearest_names
from models.contract.note_codes import NoteCode, say
from models.contract.vocabulary import Language, RepetitionKind, Role
from models.words import catalogue
from workers.cli.console import Exit, LanguageOption, errors, guarded, results

if TYPE_CHECKING:
    from models.contract.base import Document
    from models.contract.plan import PracticeRules
    from workers.pipeline.result_files import ResultFile
    from workers.report.from_coach import FromCoach

Json = Annotated[bool, typer.Option("--json", help="Print the document, and nothing else.")]
Out = Annotated[Path | None, typer.Option(help="Folder for the files. [default: see above]")]
Rules = Annotated[
    Path | None,
    typer.Option(exists=True, dir_okay=False, help="Your own rule file; merged into the shipped."),
]
FacesOption = Annotated[Faces, typer.Option(help="Whether pictures and film show faces.")]
Minor = Annotated[bool, typer.Option("--minor", help="The player may be under 18.")]
Message = Annotated[
    str | None, typer.Option(help="The coach's own words, for the first screen of the report.")
]
VoiceFile = Annotated[
    Path | None,
    typer.Option(
        exists=True, dir_okay=False, help="The coach's voice, which the page plays: at most 3 MB."
    ),
]
Material = Annotated[
    list[Path],
    typer.Argument(help="Films, result folders of analyse, or folders of such folders."),
]
Kind = Annotated[RepetitionKind, typer.Option(help="What is compared.")]


def register(app: typer.Typer) -> None:
    """Add the commands."""
    app.command("compare")(compare)
    app.command("progress")(progress)
    app.command("plan")(plan)
    app.command("drill-check")(drill_check)
    app.command("report")(report)


@guarded
def compare(
    first: Annotated[Path, typer.Argument(help="A film, a result folder, or a folder of these.")],
    second: Annotated[
        Path | None, typer.Argument(help="The same for the other side; none with --shipped-model.")
    ] = None,
    first_label: Annotated[
        str | None, typer.Option(help="What to call the first side. [default: before]")
    ] = None,
    second_label: Annotated[
        str | None, typer.Option(help="What to call the second side. [default: after]")
    ] = None,
    model: Annotated[
        bool, typer.Option("--model", help="The other side is a model that is held against.")
    ] = False,
    shipped_model: Annotated[
        bool,
        typer.Option("--shipped-model", help="The other side is the model serve that is shipped."),
    ] = False,
    kind: Kind = RepetitionKind.SERVE,
    film: Annotated[bool, typer.Option(help="Make the side-by-side film.")] = True,
    same_player: Annotated[
        bool,
        typer.Option(
            "--same-player",
            help="Both sides show one player: from one camera place, smaller changes are seen.",
        ),
    ] = False,
    focus: Annotated[
        list[str] | None,
        typer.Option(
            help="What was worked on, named beforehand: a metric's key, or key@event. Smaller "
            "changes of it are seen. May be repeated.",
        ),
    ] = None,
    rules: Rules = None,
    faces: FacesOption = Faces.SHOWN,
    minor: Minor = False,
    message: Message = None,
    voice: VoiceFile = None,
    language: LanguageOption = Language.ENGLISH,
    out: Out = None,
    json: Json = False,
) -> None:
    """Compare two sides metric by metric: report, pictures and film go to ./comparison.

    Before and after; or a player beside a model (--model, --shipped-model).
    """
    from models.contract.resources import AnalysisOptions
    from service.core.settings import Settings
    from workers.cli.folders import sources_of
    from workers.derive.comparison import ComparedSide, comparison_files
    from workers.derive.model_serve import model_serve
    from workers.jobs.configured import decode_limits

    words = catalogue(language.value)
    if (second is None) is not shipped_model:
        raise typer.BadParameter(words("terminal.one_other_side"))
    if second is not None and first.resolve() == second.resolve():
        raise InvalidRequest(say(NoteCode.ANALYSIS_ON_BOTH_SIDES, analysis=str(second)))
    settings = Settings()
    options = AnalysisOptions(language=language, faces=faces)
    beside = model or shipped_model
    found, files = comparison_files(
        ComparedSide(
            first_label or words("terminal.player" if beside else "terminal.before"),
            tuple(sources_of([first], options)),
        ),
        ComparedSide(
            second_label or words("terminal.model" if beside else "terminal.after"),
            (model_serve(settings.engine_seed),)
            if second is None
            else tuple(sources_of([second], options)),
            Role.MODEL if beside else Role.PLAYER,
        ),
        decode_limits(settings),
        kind=kind,
        film=film and (not json or out is not None),
        minor=minor,
        same_player=same_player,
        focus=_known_metrics(focus or ()),
        rules=own_rules(rules),
        coach=from_coach(message, voice),
        language=language,
    )
    if not json:
        from workers.cli.coaching_text import show_comparison

        show_comparison(found, results(), catalogue(language.value))
    finish(found, files, out, Path("comparison"), json, language)


def _known_metrics(names: Sequence[str]) -> tuple[str, ...]:
    """Return the names, or say which of them is no metric's."""
    for name in names:
        if near := nearest_names(name):
            raise InvalidRequest(say(NoteCode.FOCUS_UNKNOWN, name=name, near=near))
    return tuple(names)


@guarded
def progress(
    sessions: Annotated[
        Path,
        typer.Argument(
            exists=True,
            help="sessions.yaml, or a folder that holds one: a list of kind, filmed_at, results, "
            "maybe drill.",
        ),
    ],
    player: Annotated[str, typer.Option(help="What to call the player.")] = "player",
    kind: Kind = RepetitionKind.SERVE,
    focus: Annotated[
        list[str] | None,
        typer.Option(help="What was worked on: a metric's key, or key@event. May be repeated."),
    ] = None,
    rules: Rules = None,
    minor: Minor = False,
    message: Message = None,
    voice: VoiceFile = None,
    language: LanguageOption = Language.ENGLISH,
    out: Out = None,
    json: Json = False,
) -> None:
    """Follow one player over sessions: gain, retention, when to film next; files in ./progress."""
    from workers.cli.sessions_file import read_sessions
    from workers.derive.progress import progress_files

    found, files = progress_files(
        player,
        read_sessions(sessions),
        now=datetime.now(UTC),
        kind=kind,
        focus=_known_metrics(focus or ()),
        rules=own_rules(rules),
        minor=minor,
        coach=from_coach(message, voice),
        language=language,
    )
    if not json:
        from workers.cli.coaching_text import show_progress

        show_progress(found, results(), catalogue(language.value))
    finish(found, files, out, Path("progress"), json, language)


@guarded
def plan(
    material: Material,
    rules: Rules = None,
    done: Annotated[
        list[str] | None, typer.Option(help="A drill whose criteria were met; may be repeated.")
    ] = None,
    player: Annotated[str | None, typer.Option(help="What to call the player.")] = None,
    faces: FacesOption = Faces.SHOWN,
    minor: Minor = False,
    message: Message = None,
    voice: VoiceFile = None,
    language: LanguageOption = Language.ENGLISH,
    out: Out = None,
    json: Json = False,
) -> None:
    """Make a practice plan from serves: one focus, its drills, how to film them; in ./plan."""
    from models.contract.resources import AnalysisOptions
    from service.core.settings import Settings
    from workers.cli.folders import sources_of
    from workers.derive.practice import plan_files
    from workers.jobs.configured import decode_limits

    chosen = own_rules(rules)
    unknown = sorted(set(done or ()) - {drill.id for drill in chosen.drills})
    if unknown:
        raise InvalidRequest(say(NoteCode.RULES_LACK_DRILLS, drills=tuple(unknown)))
    found, files = plan_files(
        chosen,
        sources_of(material, AnalysisOptions(language=language, faces=faces)),
        decode_limits(Settings()),
        done=done or (),
        player=player,
        minor=minor,
        coach=from_coach(message, voice),
        language=language,
    )
    if not json:
        from workers.cli.coaching_text import show_plan

        show_plan(found, results(), catalogue(language.value))
    finish(found, files, out, Path("plan"), json, language)


@guarded
def drill_check(
    material: Material,
    finding: Annotated[str, typer.Option(help="Finding of the rules that is worked on.")],
    drill: Annotated[str, typer.Option(help="Drill of the rules that was filmed.")],
    rules: Rules = None,
    minor: Minor = False,
    language: LanguageOption = Language.ENGLISH,
    out: Annotated[Path | None, typer.Option(help="Folder for the document.")] = None,
    json: Json = False,
) -> None:
    """Judge the clips of a drill by its exit criteria: advance, repeat, go back, film again."""
    from models.contract.resources import AnalysisOptions
    from workers.cli.folders import sources_of
    from workers.derive.practice import drill_files

    chosen = own_rules(rules)
    steps = {one.id: one.drills for one in chosen.findings}
    if finding not in steps:
        raise InvalidRequest(say(NoteCode.RULES_LACK_FINDING, finding=finding, known=tuple(steps)))
    if drill not in steps[finding]:
        raise InvalidRequest(say(NoteCode.DRILL_NOT_OF_FINDING, drills=tuple(steps[finding])))
    stage = next(one.stage for one in chosen.drills if one.id == drill)
    sources = sources_of(material, AnalysisOptions(drill=stage))
    found, files = drill_files(chosen, finding, drill, sources, minor=minor)
    if not json:
        from workers.cli.coaching_text import show_outcome

        show_outcome(found, results(), catalogue(language.value))
    if json:
        _print(found)
    if out is not None:
        write_files(files, out)


@guarded
def report(
    folder: Annotated[
        Path, typer.Argument(exists=True, file_okay=False, help="A result folder of analyse.")
    ],
    rules: Rules = None,
    with_plan: Annotated[bool, typer.Option("--plan", help="Put a practice plan in.")] = False,
    player: Annotated[str | None, typer.Option(help="What to call the player.")] = None,
    language: LanguageOption = Language.ENGLISH,
) -> None:
    """Write report.html of a result folder anew, for example with a practice plan in it."""
    from workers.cli.folders import from_folder
    from workers.decide.plan import make_plan
    from workers.pipeline.result_files import page_file
    from workers.report.analysis_page import analysis_page

    source = from_folder(folder)
    made = make_plan(own_rules(rules), [source.analysis]) if with_plan or rules else None
    words = catalogue(language.value)
    page = analysis_page(source.analysis, source.pictures(), plan=made, player=player, words=words)
    write_files([page_file(page)], folder)
    results().print(words("terminal.written", path=folder / "report.html"), markup=False)


def from_coach(message: str | None, voice: Path | None) -> FromCoach:
    """Return what the coach adds to a page."""
    from models.contract.errors import PayloadTooLarge
    from service.core.audio import MOST_BYTES, voice_of
    from workers.report.from_coach import FromCoach, SpokenMessage

    if voice is None:
        return FromCoach(message)
    if voice.stat().st_size > MOST_BYTES:
        raise PayloadTooLarge(say(NoteCode.BODY_TOO_LARGE, limit=MOST_BYTES))
    return FromCoach(message, SpokenMessage(*voice_of(voice.read_bytes())))


def own_rules(file: Path | None) -> PracticeRules:
    """Return the rules in a file, merged into the shipped ones; None = the shipped ones."""
    from models.practice.rules import rules_of

    if file is None:
        return rules_of(None)
    try:
        return rules_of(file.read_text("utf-8"))
    except UnicodeDecodeError:
        raise InvalidRequest(say(NoteCode.RULE_FILE_NOT_UTF8)) from None


def finish(
    document: Document,
    files: Sequence[ResultFile],
    out: Path | None,
    default: Path,
    json: bool,
    language: Language,
) -> None:
    """Print the document where it was asked for, and write the files."""
    if json:
        _print(document)
    folder = out if out is not None or json else default
    if folder is None:
        return
    write_files(files, folder)
    if not json:
        words = catalogue(language.value)
        results().print("\n" + words("terminal.files_report", folder=folder), markup=False)


def _print(document: Document) -> None:
    from workers.pipeline.result_files import document_text

    sys.stdout.write(document_text(document))


def write_files(files: Sequence[ResultFile], folder: Path) -> None:
    """Write result files into a folder; pictures of an earlier run are removed first."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        if len(files) > 1:
            shutil.rmtree(folder / "pictures", ignore_errors=True)
        for file in files:
            path = folder / file.path
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(file.data)
    except OSError as error:
        errors().print(f"Cannot write to {folder}: {error.strerror}", style="red", markup=False)
        raise typer.Exit(Exit.INSTALLATION) from None
