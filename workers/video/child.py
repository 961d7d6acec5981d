"""The decoder process: probes and decodes one film behind walls, and sends facts and frames.

Started by `workers.video.sandbox` as a fresh interpreter. It knows the film as an open descriptor,
talks JSON over a packet socket and writes pixels into shared memory; nothing it sends is code,
and no words of it reach a user: what went wrong is a code, with numbers and short names.

Messages to the parent: ``ready``, ``facts``, ``frame`` (index, slot, time), ``passed`` (times of
frames that were decoded but not handed over), ``end`` (runs of lost frames, sharp sounds),
``error`` (code; said and parameters, or a trace for the log). From the parent: the shared memory,
then one byte for each frame it has finished with.
"""

from __future__ import annotations

import errno
import json
import mmap
import os
import resource
import socket
import traceback
from typing import Any

import av.subtitles.stream  # noqa: F401 (loaded at the first film otherwise, behind the walls)
import cv2
import numpy as np

from models.contract.errors import ClipDamaged, DecodeLimitExceeded, ServewrightError
from workers.video.capture_fps import time_scale
from workers.video.decode import Decoder
from workers.video.hardening import Walls, harden
from workers.video.limits import RING_SLOTS, DecodeLimits
from workers.video.probe import Probe, probe
from workers.video.readers import Picture
from workers.video.sound import sharp_sounds

LOGGED = 4000
"""Characters of a trace that are told."""
PASSED_TOLD = 1000
"""Times of frames not handed over that go into one message."""

_STATM = os.open("/proc/self/statm", os.O_RDONLY | os.O_CLOEXEC)
"""Opened while it can be: what this process uses of its memory."""
GAPS_TOLD = 20
"""Longest runs of lost frames that the parent is told of."""


class ParentGone(Exception):
    """The parent has closed its end."""


class Link:
    """The child's end of the socket, and the ring of frames."""

    def __init__(self, connection: socket.socket) -> None:
        self._connection = connection
        self._slots: list[Picture] = []
        self._sent = 0
        self._released = 0

    def say(self, kind: str, **values: Any) -> None:
        """Send one message."""
        try:
            self._connection.send(json.dumps({"kind": kind, **values}).encode())
        except (BrokenPipeError, ConnectionResetError) as error:
            raise ParentGone from error

    def take_ring(self, height: int, width: int) -> None:
        """Receive the shared memory and lay out the frames in it."""
        data, descriptors, _, _ = socket.recv_fds(self._connection, 1, 1)
        if not data or not descriptors:
            raise ParentGone
        ring = mmap.mmap(descriptors[0], RING_SLOTS * height * width * 3)
        os.close(descriptors[0])
        frames = np.frombuffer(ring, np.uint8).reshape(RING_SLOTS, height, width, 3)
        self._slots = list(frames)

    def free_slot(self) -> tuple[int, Picture]:
        """Wait until the parent has finished with the oldest frame; return the next slot."""
        while self._sent - self._released >= RING_SLOTS:
            released = self._connection.recv(RING_SLOTS)
            if not released:
                raise ParentGone
            self._released += len(released)
        slot = self._sent % RING_SLOTS
        return slot, self._slots[slot]

    def await_close(self) -> None:
        """Read until the parent closes.

        Ending with unread bytes would make the kernel throw away what the parent has yet to read.
        """
        while self._connection.recv(RING_SLOTS):
            pass

    def say_passed(self, last: int, times: list[float]) -> None:
        """Tell the times of frames that were not handed over, up to index ``last``; empties them.

        Their indices have no gap.
        """
        if times:
            self.say("passed", index=last - len(times) + 1, times=times)
            times.clear()

    def hand_over(self, index: int, slot: int, time_s: float) -> None:
        """Tell the parent that a slot holds a frame."""
        self.say("frame", index=index, slot=slot, time_s=time_s)
        self._sent += 1


def facts_of(found: Probe, decoder: Decoder) -> dict[str, Any]:
    """Return what the parent is told about the film."""
    return {
        "container": found.demuxer,
        "codec": found.codec,
        "pixel_format": found.pixel_format,
        "hdr": found.transfer,
        "frame_rate": found.frame_rate,
        "frame_rate_variable": found.rate_is_variable,
        "duration_s": found.duration_s,
        "frames_readable": len(found.times),
        "frames_stated": found.frames_stated,
        "rotation_deg": decoder.rotation_deg,
        "width": decoder.width,
        "height": decoder.height,
        "tags": _tags(found),
    }


def run(link: Link, path: str, job: dict[str, Any], limits: DecodeLimits) -> None:
    """Probe the film, then send the wanted frames (all when ``job["indices"]`` is None)."""
    found = probe(path, limits)
    decoder = Decoder(path, found, limits, longest_side=job["longest_side"])
    link.say("facts", **facts_of(found, decoder))
    link.take_ring(decoder.height, decoder.width)
    factor = _time_factor(found, job)
    if job["times"] is not None:
        _send_at(link, decoder, job["indices"], [time_s / factor for time_s in job["times"]])
        return
    wanted = None if job["indices"] is None else set(job["indices"])
    last = None if wanted is None else max(wanted, default=-1)
    every_s = 0.0 if job["every_s"] is None else job["every_s"] / factor
    grabbed = sent = 0
    due = -1.0
    passed: list[float] = []
    for index, time_s in decoder:
        if last is not None and index > last:
            break
        grabbed += 1
        if wanted is not None and index not in wanted:
            continue
        if time_s < due:
            passed.append(time_s)
            if len(passed) == PASSED_TOLD:
                link.say_passed(index, passed)
            continue
        link.say_passed(index - 1, passed)
        slot, frame = link.free_slot()
        if decoder.retrieve(frame):
            link.hand_over(index, slot, time_s)
            sent += 1
            due = time_s + every_s - 1e-9
    link.say_passed(grabbed - 1, passed)
    if grabbed < len(found.times) and last is None and _memory_is_short(limits, decoder):
        # The decoder library reports a refused allocation as the end of the film.
        raise DecodeLimitExceeded()
    decoder.close()
    if sent == 0 and wanted is None:
        raise ClipDamaged()
    gaps = sorted(decoder.gaps, key=lambda gap: -gap[2])[:GAPS_TOLD]
    heard = sharp_sounds(path, found.start_s, limits) if wanted is None else None
    told = None if heard is None else [[round(h.time_s, 5), round(h.rise_db, 2)] for h in heard]
    link.say("end", gaps=gaps, heard=told)


def _send_at(link: Link, decoder: Decoder, indices: list[int], times: list[float]) -> None:
    """Send the frames at some times, seconds on the file's time line, under the given indices."""
    for number in decoder.at(times):
        slot, frame = link.free_slot()
        if decoder.retrieve(frame):
            link.hand_over(indices[number], slot, times[number])
    decoder.close()
    link.say("end", gaps=[])


def _time_factor(found: Probe, job: dict[str, Any]) -> float:
    """Return real seconds per second of the file."""
    return time_scale(found.frame_rate, given=job["capture_fps"], tags=_tags(found)).factor


def _tags(found: Probe) -> dict[str, str]:
    return {str(k)[:200]: str(v)[:200] for k, v in list(found.tags.items())[:100]}


def _memory_is_short(limits: DecodeLimits, decoder: Decoder) -> bool:
    """Whether a few more frames would not fit under the address-space limit."""
    used = int(os.pread(_STATM, 200, 0).split()[0]) * resource.getpagesize()
    return limits.memory_bytes - used < 8 * decoder.width * decoder.height * 3


def main(connection_fd: int, film_fd: int, parent: int, job_fd: int) -> None:
    """Serve one film; the descriptors are inherited from the parent."""
    with os.fdopen(job_fd) as file:
        job = json.load(file)
    limits = DecodeLimits.of(job["limits"])
    cv2.setNumThreads(1)
    walls = harden(limits, parent, film_fd)
    link = Link(socket.socket(fileno=connection_fd))
    try:
        _serve(link, f"/proc/self/fd/{film_fd}", job, limits, walls)
        link.await_close()
    except (ParentGone, ConnectionResetError):
        return


def _serve(link: Link, path: str, job: dict[str, Any], limits: DecodeLimits, walls: Walls) -> None:
    """Run the job; whatever goes wrong becomes a message."""
    try:
        link.say("ready", confined=walls.calls, files=walls.files)
        run(link, path, job, limits)
    except ParentGone:
        raise
    except ServewrightError as error:
        _say_error(link, error)
    except Exception as error:
        if _is_memory(error):
            _say_error(link, DecodeLimitExceeded())
        elif isinstance(error, cv2.error):
            _say_error(link, ClipDamaged())
        else:
            told = traceback.format_exc()[-LOGGED:]  # for the log alone
            link.say("error", code="internal_error", trace=told)


def _say_error(link: Link, error: ServewrightError) -> None:
    if isinstance(error.said, str):  # words that no catalogue has: the code's own are said
        link.say("error", code=error.code)
    else:
        said, parameters = error.said.code, dict(error.said.parameters)
        link.say("error", code=error.code, said=said, parameters=parameters)


def _is_memory(error: Exception) -> bool:
    """Whether an error means that the address-space limit was met."""
    if isinstance(error, cv2.error):
        return bool(error.code == cv2.Error.StsNoMem)
    return isinstance(error, MemoryError) or getattr(error, "errno", None) == errno.ENOMEM
