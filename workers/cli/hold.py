"""``servewright hold``: the weight over the rear foot, live, from a camera or a film."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from models.contract.errors import InvalidRequest
from models.contract.vocabulary import Handedness
from workers.cli.console import errors, guarded, results

if TYPE_CHECKING:
    from workers.processes.hold_server import Shown

BAR = 30
"""Characters of the bar."""


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("hold")(hold)


@guarded
def hold(
    file: Annotated[
        Path | None, typer.Option(exists=True, dir_okay=False, help="A film instead of a camera.")
    ] = None,
    camera: Annotated[int | None, typer.Option(min=0, help="Number of a camera.")] = None,
    handedness: Annotated[
        Handedness, typer.Option(help="The hand that holds the racket.")
    ] = Handedness.RIGHT,
    goal: Annotated[
        float, typer.Option(min=0.3, max=0.95, help="Share from which time counts as held.")
    ] = 0.6,
    azimuth: Annotated[
        float,
        typer.Option(min=0.0, max=359.9, help="Where the camera stands; 90 faces the chest."),
    ] = 90.0,
    json: Annotated[
        bool, typer.Option("--json", help="Print one JSON object a reading, and nothing else.")
    ] = False,
    listen: Annotated[
        bool, typer.Option(help="Watch for the API instead (SERVEWRIGHT_LIVE_HOLD).")
    ] = False,
) -> None:
    """Stand still in the stance for a second, load, and hold: the weight, as you hold it.

    Nothing of a picture is kept. The values are estimates from film and no medical advice; stop
    when something hurts, and follow whoever treats you.
    """
    from service.core.settings import Settings
    from workers.processes import hold_server

    if listen:
        settings = Settings()
        hold_server.main(
            [str(settings.live_hold_socket), "--sessions", str(settings.live_hold_sessions)]
        )
        return
    if (file is None) == (camera is None):
        raise InvalidRequest("name either --file or --camera")
    if handedness is Handedness.UNKNOWN:
        raise InvalidRequest("name the hand that holds the racket: --handedness left or right")
    from models.contract.live import HoldOpening
    from workers.pose.live import LiveLook, live_networks

    opening = HoldOpening(handedness=handedness, goal=goal, azimuth_deg=azimuth)
    watching = hold_server.watcher(opening, LiveLook(live_networks()))
    for shown in _film(file) if file is not None else _camera(camera or 0):
        reading = watching.show(shown)
        if reading is None:
            continue
        message = hold_server.message_of(reading)
        if json:
            sys.stdout.write(message.model_dump_json(exclude_none=True) + "\n")
            sys.stdout.flush()
        else:
            results().print(_line(message.rear_share, goal, reading.held_s, str(reading.now.coil)))
        if message.reason is not None and not json:
            errors().print(str(message.reason))
            return


def _line(share: float | None, goal: float, held_s: float, coil: str) -> str:
    if share is None:
        return "–"
    filled, mark = round(BAR * share), round(BAR * goal)
    bar = "".join("|" if i == mark else "█" if i < filled else "·" for i in range(BAR))
    return f"{bar} {100 * share:3.0f} %  {held_s:4.1f} s  {coil.replace('_', ' ')}"


def _film(path: Path) -> Iterator[Shown]:
    from service.core.settings import Settings
    from workers.jobs.configured import decode_limits
    from workers.processes.hold_server import Shown
    from workers.video.clip import open_clip

    with open_clip(path, decode_limits(Settings())) as stream:
        for frame in stream:
            yield Shown(frame.index, frame.time_s, frame.rgb)


def _camera(number: int) -> Iterator[Shown]:
    import time

    import cv2
    import numpy as np

    from workers.processes.hold_server import Shown

    opened = cv2.VideoCapture(number)
    if not opened.isOpened():
        raise InvalidRequest(f"camera {number} does not open; is another program using it?")
    try:
        began, index = time.monotonic(), 0
        while True:
            good, picture = opened.read()
            if not good:
                return
            rgb = np.ascontiguousarray(picture[..., ::-1], np.uint8)
            yield Shown(index, time.monotonic() - began, rgb)
            index += 1
    finally:
        opened.release()
