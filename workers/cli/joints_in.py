"""``servewright analyse-joints FILE``: the metrics engine on joints from elsewhere."""

from __future__ import annotations

import json as jsonlib
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from models.contract.vocabulary import Handedness, RepetitionKind, Sex
from workers.cli.console import guarded, results

if TYPE_CHECKING:
    from workers.engine.interface import EngineResult


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("analyse-joints")(analyse_joints)


@guarded
def analyse_joints(
    file: Annotated[
        Path,
        typer.Argument(exists=True, dir_okay=False, readable=True, help="JSON, npz or C3D."),
    ],
    height_m: Annotated[
        float | None, typer.Option(help="Standing height of the player, metres.")
    ] = None,
    handedness: Annotated[
        Handedness, typer.Option(help="The hand that holds the racket.")
    ] = Handedness.UNKNOWN,
    sex: Annotated[Sex, typer.Option(help="Chooses the body-segment table.")] = Sex.UNKNOWN,
    target_x: Annotated[
        float | None, typer.Option(help="Direction of the target in the file's axes, x part.")
    ] = None,
    target_y: Annotated[
        float | None, typer.Option(help="Direction of the target in the file's axes, y part.")
    ] = None,
    markers: Annotated[
        Path | None,
        typer.Option(
            exists=True, dir_okay=False, help="JSON object: joint name to list of marker names."
        ),
    ] = None,
    accuracy_m: Annotated[
        float | None,
        typer.Option(
            min=0.0002, max=0.2, help="Standard deviation of each coordinate, metres (npz, C3D)."
        ),
    ] = None,
    drill: Annotated[
        RepetitionKind | None, typer.Option(help="What the swings are, if not serves.")
    ] = None,
    json: Annotated[
        bool, typer.Option("--json", help="Print the measurements as JSON, and nothing else.")
    ] = False,
) -> None:
    """Measure serves from joints of another pose system or of a motion-capture laboratory.

    Metres, z up. Joints of npz and C3D files are named by the person's own sides (left_shoulder,
    ...); for C3D a marker map says which markers make a joint. JSON follows joints.v2.json or
    joints.v1.json. The target direction is found from the swing if not given.
    """
    from models.contract.errors import InvalidRequest
    from models.contract.note_codes import NoteCode, say
    from workers.engine.interface import EngineRequest
    from workers.joints_in.measure import measure_file

    if (target_x is None) != (target_y is None):
        raise InvalidRequest(say(NoteCode.TARGET_HALF_GIVEN))
    target = None if target_x is None or target_y is None else (target_x, target_y)
    request = EngineRequest(stature_m=height_m, handedness=handedness, sex=sex, drill=drill)
    marker_map = None if markers is None else jsonlib.loads(markers.read_text("utf-8"))
    found = measure_file(file, request, target_xy=target, markers=marker_map, accuracy_m=accuracy_m)
    if json:
        sys.stdout.write(jsonlib.dumps([_plain(result) for result in found], indent=1) + "\n")
        return
    for result in found:
        _show(result)


def _plain(result: EngineResult) -> dict[str, Any]:
    return {
        "handedness": result.handedness.value,
        "repetitions": [r.model_dump(mode="json") for r in result.repetitions],
        "problems": [p.model_dump(mode="json") for p in result.problems],
    }


def _show(result: EngineResult) -> None:
    from rich.table import Table

    console = results()
    for problem in result.problems:
        console.print(f"{problem.title}: {problem.detail}", markup=False)
    for number, repetition in enumerate(result.repetitions, 1):
        table = Table(title=f"{repetition.kind.value} {number} ({result.handedness.value}-handed)")
        for column in ("metric", "event", "value", "95 % interval", "unit"):
            table.add_column(column)
        for metric in repetition.metrics:
            event = metric.event.value if metric.event else ""
            if metric.value is None or metric.low is None or metric.high is None:
                table.add_row(metric.title, event, "not measurable", str(metric.reason or ""), "")
                continue
            interval = f"{metric.low:.4g} to {metric.high:.4g}"
            table.add_row(metric.title, event, f"{metric.value:.4g}", interval, metric.unit)
        console.print(table)
