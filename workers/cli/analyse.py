"""``servewright analyse FILE``: the same pipeline in this process, without a server."""

from __future__ import annotations

import sys
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from models.contract.faces import Faces
from models.contract.vocabulary import Handedness, Language, RepetitionKind, Sex, Stage, View
from models.words import catalogue
from workers.cli.bar import Bar
from workers.cli.console import LanguageOption, errors, guarded, results
from workers.cli.result_folder import sha256_of, write_result

if TYPE_CHECKING:
    from models.contract.plan import PracticeRules
    from models.contract.resources import AnalysisOptions
    from workers.pipeline.run import PipelineResult


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("analyse")(analyse)


@guarded
def analyse(
    file: Annotated[
        Path | None,
        typer.Argument(
            exists=True,
            dir_okay=False,
            readable=True,
            help="The film. With --again only for new pictures.",
        ),
    ] = None,
    again: Annotated[
        Path | None,
        typer.Option(
            exists=True,
            file_okay=False,
            help="Folder of a result: measure its stored joints anew, without decoding the film. "
            "What it was told holds again, but for --drill and --azimuth-deg. Written there, "
            "or to --out.",
        ),
    ] = None,
    same_serve: Annotated[
        Path | None,
        typer.Option(
            exists=True,
            dir_okay=False,
            readable=True,
            help="A second film of the same serve, in real time, from 60 to 100 degrees beside the "
            "first seen from the player. Values then come from both; --view, --azimuth-deg and "
            "--capture-fps are of the first film.",
        ),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option(
            help="Folder for report.html, result.json, events, metrics, joints, pictures. "
            "[default: NAME-result; none with --json]"
        ),
    ] = None,
    height_m: Annotated[
        float | None, typer.Option(help="Standing height of the player, metres.")
    ] = None,
    handedness: Annotated[
        Handedness, typer.Option(help="The hand that holds the racket.")
    ] = Handedness.UNKNOWN,
    view: Annotated[View, typer.Option(help="Where the camera stood.")] = View.UNKNOWN,
    azimuth_deg: Annotated[
        float | None,
        typer.Option(help="Camera azimuth about the server: 0 = from the net, 90 = chest."),
    ] = None,
    capture_fps: Annotated[
        float | None, typer.Option(help="Rate the camera recorded at, for slow-motion files.")
    ] = None,
    sex: Annotated[Sex, typer.Option(help="Chooses the body-segment table.")] = Sex.UNKNOWN,
    drill: Annotated[
        RepetitionKind | None, typer.Option(help="What the swings are, if not serves.")
    ] = None,
    film: Annotated[
        bool, typer.Option("--film", help="Also write film.mp4 with the marks drawn in.")
    ] = False,
    rules: Annotated[
        Path | None,
        typer.Option(
            exists=True,
            dir_okay=False,
            help="Your own rule file: page, pictures and film show its limits.",
        ),
    ] = None,
    faces: Annotated[
        Faces, typer.Option(help="Whether pictures and film show faces, others' faces too.")
    ] = Faces.SHOWN,
    minor: Annotated[bool, typer.Option("--minor", help="The player may be under 18.")] = False,
    language: LanguageOption = Language.ENGLISH,
    json: Annotated[
        bool, typer.Option("--json", help="Print the analysis document, and nothing else.")
    ] = False,
) -> None:
    """Analyse one film and print what was measured.

    A film without a person or a serve is a finished analysis that says so (exit code 0); a file
    that is not a usable film ends with exit code 3 and says what to send instead.
    """
    from models.contract.resources import AnalysisOptions
    from workers.cli.coaching import own_rules

    by = None if rules is None else own_rules(rules)
    options = AnalysisOptions(
        height_m=height_m,
        handedness=handedness,
        view=view,
        azimuth_deg=azimuth_deg,
        sex=sex,
        capture_fps=capture_fps,
        drill=drill,
        annotated_film=film,
        faces=faces,
        language=language,
    )
    folder: Path | None
    if again is not None:
        if same_serve is not None:
            raise typer.BadParameter("--same-serve needs the films; it does not go with --again.")
        from workers.cli import again as anew

        folder = out or again
        result = anew.run(again, file, options, folder, minor=minor, rules=by)
    elif file is not None:
        folder = out if out is not None or json else Path(f"{file.stem}-result")
        result = run(file, options, folder, minor=minor, same_serve=same_serve, rules=by)
    else:
        raise typer.BadParameter("Name the film, or a result with --again.")
    if json:
        from workers.pipeline.result_files import document_text

        sys.stdout.write(document_text(result.analysis))
        return
    from workers.cli.summary import show_analysis

    words = catalogue(language.value)
    show_analysis(result.analysis, results(), words)
    if again is not None:
        anew.show_redone(folder or again, file, words)
    elif folder is not None:
        results().print("\n" + words("terminal.files", folder=folder), markup=False)


def run(
    file: Path,
    options: AnalysisOptions,
    folder: Path | None,
    *,
    pictures: bool = False,
    minor: bool = False,
    same_serve: Path | None = None,
    rules: PracticeRules | None = None,
) -> PipelineResult:
    """Analyse with a progress bar on standard error; write the files if a folder is given.

    Parameters
    ----------
    pictures : bool
        Draw the pictures also without a folder.
    same_serve : Path, optional
        A second film of the same serve.
    rules : PracticeRules, optional
        Whose limits page, pictures and film show.
    """
    from models.contract.analysis import MINOR_CAUTIONS
    from service.core.settings import Settings
    from workers.cli import costs_file
    from workers.jobs.configured import shared_stages
    from workers.pipeline import run as pipeline
    from workers.pipeline.options import engine_request
    from workers.pipeline.pair import run_pair, while_measuring
    from workers.pipeline.progress import STAGE_SHARES
    from workers.pipeline.time_left import TimeLeft

    settings = Settings()
    words = catalogue(options.language.value)
    if folder is None and not pictures:
        settings = settings.model_copy(update={"pictures": False})
    # What one film costs foretells nothing of two, and two teach nothing of one.
    left = TimeLeft(costs_file.read(settings) if same_serve is None else None)
    with Bar(errors(), left) as bar:
        request = engine_request(options, seed=settings.engine_seed)
        first = partial(
            pipeline.run,
            report=bar,
            sha256=sha256_of(file),
            annotated_film=options.annotated_film and folder is not None,
            faces=options.faces,
            rules=rules,
            extra_cautions=MINOR_CAUTIONS if minor else (),
            words=words,
            time_left=left,
        )
        stages = shared_stages(settings)
        if same_serve is None:
            result = first(file, request, stages)
        else:
            second = partial(
                pipeline.run, sha256=sha256_of(same_serve), report=while_measuring(bar)
            )
            result = run_pair((file, first), (same_serve, second), request, stages)
        if folder is not None:
            bar(Stage.STORE, 1.0 - STAGE_SHARES[Stage.STORE])
            write_result(result, folder, words)
        bar(Stage.STORE, 1.0)
    left.end()
    if same_serve is None:
        costs_file.learn(settings, left.spent)
    return result
