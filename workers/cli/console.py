"""What all commands share: where text goes, exit codes, and how a problem is shown.

Results go to standard output; everything else (progress, problems, logs) to standard error.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from enum import IntEnum
from functools import wraps
from pathlib import Path
from typing import Annotated, ParamSpec, TypeVar

import typer
from pydantic import ValidationError
from rich.console import Console

from models.contract.errors import ClipError, InvalidRequest, RequestError, ServewrightError
from models.contract.note_codes import NoteCode, say
from models.contract.problem import Problem
from models.contract.refusals import places_in_words
from models.contract.vocabulary import Language, Severity
from models.words import Words, catalogue, english
from models.words.catalogue import DEFAULT

P = ParamSpec("P")
R = TypeVar("R")


LanguageOption = Annotated[
    Language, typer.Option("--language", help="Language of the text, the report and the pictures.")
]


class Exit(IntEnum):
    """Exit codes of every command.

    0 done (an analysis was made: read its problems), 1 something unexpected, 2 wrong usage or
    settings, 3 the clip cannot be analysed, 4 a part of the installation is missing or does not
    answer, 130 stopped by Ctrl-C.
    """

    DONE = 0
    UNEXPECTED = 1
    USAGE = 2
    CLIP = 3
    INSTALLATION = 4
    INTERRUPTED = 130


EXIT_CODES_HELP = (
    "Exit codes: 0 done (read the problems stated in the analysis), 1 unexpected error, 2 wrong "
    "usage or settings, 3 the clip cannot be analysed, 4 a part of the installation is missing or "
    "does not answer, 130 stopped by Ctrl-C."
)

PLAIN_WIDTH = 110
"""Characters a line where the output is no terminal: the tables fit."""

_STYLE = {Severity.BLOCKING: "bold red", Severity.WARNING: "yellow", Severity.NOTE: "cyan"}


def errors() -> Console:
    """Return the console on standard error, made anew so that redirection is seen."""
    return Console(stderr=True, highlight=False, soft_wrap=True)


def results() -> Console:
    """Return the console on standard output; wide enough for tables when it is no terminal."""
    width = None if sys.stdout.isatty() else PLAIN_WIDTH
    return Console(highlight=False, soft_wrap=True, width=width)


def show_problem(
    problem: Problem, console: Console | None = None, words: Words | None = None
) -> None:
    """Print one problem: severity, title, code and what to do."""
    words = words or english()
    problem = problem.said_in(words)
    console = console or errors()
    style = _STYLE[problem.severity]
    code = problem.code
    if problem.stage:
        code = words("terminal.stage", code=problem.code, stage=problem.stage)
    console.print(f"[{style}]{problem.title}[/] ({code})", markup=True)
    console.print(f"  {problem.detail}", markup=False)


def _exit_of(error: ServewrightError) -> Exit:
    if isinstance(error, ClipError):
        return Exit.CLIP
    return Exit.USAGE if isinstance(error, RequestError) else Exit.INSTALLATION


def _check_paths(values: Sequence[object]) -> None:
    """Refuse pipes and devices: reading one waits, or does not end."""
    for value in values:
        if isinstance(value, list | tuple):
            _check_paths(value)
        elif isinstance(value, Path) and _endless(value):
            raise InvalidRequest(say(NoteCode.NOT_A_PLAIN_FILE, path=str(value)))


def _endless(path: Path) -> bool:
    return path.exists() and not (path.is_file() or path.is_dir())


def guarded(command: Callable[P, R]) -> Callable[P, R]:
    """Turn the project's errors into a readable problem and an exit code."""

    @wraps(command)
    def run(*args: P.args, **kwargs: P.kwargs) -> R:
        words = catalogue(str(kwargs.get("language", DEFAULT)))
        try:
            _check_paths([*args, *kwargs.values()])
            return command(*args, **kwargs)
        except ServewrightError as error:
            show_problem(Problem.of(error), words=words)
            raise typer.Exit(_exit_of(error)) from None
        except ValidationError as error:
            console = errors()
            console.print(f"[bold red]{words('terminal.not_valid')}[/]")
            for line in places_in_words(error, words):
                console.print(f"  {line}", markup=False)
            raise typer.Exit(Exit.USAGE) from None
        except KeyboardInterrupt:
            errors().print(words("terminal.stopped"))
            raise typer.Exit(Exit.INTERRUPTED) from None

    return run
