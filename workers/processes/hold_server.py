"""Watches holds live for the API: pictures in over a Unix socket, readings out, nothing kept.

A caller sends a line of JSON (`HoldOpening` without its key), then pictures: eight bytes of time
(seconds, big-endian double), four of length, and a JPEG. Each picture is answered by one line,
`HoldMessage`. Who sends anything else is cut off.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import logging
import os
import socketserver
import struct
import threading
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
from PIL import Image, UnidentifiedImageError

from models.contract.live import LARGEST_FRAME, MOST_PIXELS, HoldMessage, HoldOpening
from workers.learned import load
from workers.pipeline.hold import HoldReading, LiveHold
from workers.pose.live import LiveLook, live_networks

LOG = logging.getLogger(__name__)
HEAD = struct.Struct(">dI")
"""Before each picture: its time in seconds, and its length in bytes."""
LONGEST_LINE = 4096
"""Bytes of the first line."""
IDLE_S = 30.0
"""A caller who sends nothing for so long is gone, seconds (working value)."""


@dataclass(frozen=True, slots=True)
class Shown:
    """A picture as the networks take it."""

    index: int
    time_s: float
    rgb: npt.NDArray[np.uint8]


def picture_of(data: bytes) -> npt.NDArray[np.uint8]:
    """Return the pixels of a JPEG.

    Raises
    ------
    ValueError
        For anything else, and for one that is larger than is looked at.
    """
    try:
        with Image.open(io.BytesIO(data), formats=("JPEG",)) as image:
            if max(image.size) > MOST_PIXELS or min(image.size) < 32:
                raise ValueError(f"a picture of {image.size[0]} x {image.size[1]} pixels")
            return np.asarray(image.convert("RGB"), np.uint8)
    except (UnidentifiedImageError, OSError, Image.DecompressionBombError) as error:
        raise ValueError("no JPEG") from error


def message_of(reading: HoldReading | None) -> HoldMessage:
    """Return a reading as it is sent."""
    if reading is None:
        return HoldMessage(reading=False)
    now = reading.now
    return HoldMessage(
        reading=True,
        time_s=round(now.time_s, 3),
        rear_share=now.share,
        rear_share_low=now.low,
        rear_share_high=now.high,
        coil=now.coil,
        turned_away=now.turned_away,
        only_bent=now.only_bent,
        held_s=reading.held_s,
        reason=now.reason,
    )


def watcher(opening: HoldOpening, look: LiveLook) -> LiveHold:
    """Return what watches a hold that begins so."""
    learned = load().learned
    return LiveHold(
        look,
        learned.lift,
        learned.calibration,
        opening.handedness,
        opening.goal,
        opening.azimuth_deg,
    )


class HoldServer(socketserver.ThreadingUnixStreamServer):
    """Serves on a socket that only this user can open."""

    daemon_threads = True
    request_queue_size = 8

    def __init__(self, path: Path, sessions: int) -> None:
        path.parent.mkdir(parents=True, exist_ok=True)
        with contextlib.suppress(FileNotFoundError):
            path.unlink()
        self.networks = live_networks()
        load()
        self.room = threading.BoundedSemaphore(sessions)
        before = os.umask(0o077)
        try:
            super().__init__(str(path), _Caller)
        finally:
            os.umask(before)


class _Caller(socketserver.StreamRequestHandler):
    """One hold after another before one camera."""

    timeout = IDLE_S
    server: HoldServer

    def handle(self) -> None:
        """Answer pictures until the caller goes."""
        if not self.server.room.acquire(blocking=False):
            return
        try:
            self._watch()
        except (ValueError, TimeoutError, ConnectionError) as error:
            LOG.info("a live hold ended: %s", type(error).__name__)
        finally:
            self.server.room.release()

    def _watch(self) -> None:
        opening = HoldOpening.model_validate_json(self.rfile.readline(LONGEST_LINE))
        hold = watcher(opening, LiveLook(self.server.networks))
        index, last = 0, float("-inf")
        self._say(HoldMessage(reading=False))  # there is room
        while True:
            head = self.rfile.read(HEAD.size)
            if len(head) < HEAD.size:
                return
            time_s, length = HEAD.unpack(head)
            if length > LARGEST_FRAME or not time_s > last:
                raise ValueError("a picture that is too large, or not in order")
            data = self.rfile.read(length)
            if len(data) < length:
                return
            last = time_s
            reading = hold.show(Shown(index, time_s, picture_of(data)))
            index += 1
            self._say(message_of(reading))

    def _say(self, message: HoldMessage) -> None:
        self.wfile.write(message.model_dump_json(exclude_none=True).encode() + b"\n")


def main(arguments: Sequence[str] | None = None) -> None:
    """Serve until told to stop."""
    import cv2

    parser = argparse.ArgumentParser(prog="python -m workers.processes.hold_server")
    parser.add_argument("socket", type=Path)
    parser.add_argument("--sessions", type=int, default=2)
    options = parser.parse_args(arguments)
    cv2.setNumThreads(1)
    with HoldServer(options.socket, options.sessions) as server:
        LOG.info("watching holds live, %d at a time", options.sessions)
        server.serve_forever()


if __name__ == "__main__":
    main()
