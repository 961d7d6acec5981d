"""Facts of a film read from its container, without decoding, and early refusals.

Runs in the decoder process (it feeds untrusted bytes to FFmpeg); `workers.video.clip` is the
safe way in.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any, BinaryIO

import av
import av.error

from models.contract.errors import (
    ClipDamaged,
    ClipResolutionTooHigh,
    ClipTooLong,
    ClipTooManyFrames,
    ClipWithoutFrames,
    ClipWithoutPicture,
    CodecNotSupported,
    DecodeLimitExceeded,
    NotAVideo,
)
from models.contract.note_codes import NoteCode, say
from workers.video.limits import DecodeLimits

CODECS = frozenset({"h264", "hevc", "vp9"})
"""Codecs that the decoder library decodes in software. Its wheel has no AV1 decoder."""

DEMUXERS = {"mov": "mov,mp4,m4a,3gp,3g2,mj2", "matroska": "matroska,webm"}

PROTOCOLS = "file"
"""The only protocol FFmpeg may use, so that no film can make it open an address."""

TRANSFERS = {16: "PQ", 18: "HLG"}
"""Colour transfer codes of ITU-T H.273."""

PLAIN_PRIMARIES = frozenset({0, 1, 2, 4, 5, 6, 7})
"""Colour primaries (ITU-T H.273) near those of ordinary screens, or not stated."""

_MOV_BOXES = frozenset({b"ftyp", b"moov", b"mdat", b"free", b"skip", b"wide", b"pnot", b"uuid"})


@dataclass(frozen=True, slots=True)
class Probe:
    """What the container says about its film.

    Attributes
    ----------
    demuxer, codec, pixel_format : str
    transfer : str or None
        ``HLG`` or ``PQ``.
    wide_colour : bool
        HDR, or primaries wider than those of ordinary screens.
    width, height : int
        Of the stored picture, before rotation, pixels.
    times : list of float
        Display times of all readable frames in order, seconds from the stream's start, strictly
        increasing.
    tick_s : float
        Unit of the time line, seconds.
    frames_stated : int
        Frames the index of the file lists for display; without an index, the readable ones and
        those missing by time.
    tags : dict of str to str
        Metadata of container and stream.
    keys : tuple of int
        Places among ``times`` of the frames at which decoding can begin, rising.
    start_s : float
        Where the first frame lies on the time line that picture and sound share, seconds.
    """

    demuxer: str
    codec: str
    pixel_format: str | None
    transfer: str | None
    wide_colour: bool
    width: int
    height: int
    times: list[float]
    tick_s: float
    frames_stated: int
    tags: dict[str, str]
    keys: tuple[int, ...] = ()
    start_s: float = 0.0

    @property
    def frame_rate(self) -> float:
        """Mean rate on the file's time line, frames per second."""
        return (len(self.times) - 1) / (self.times[-1] - self.times[0])

    @property
    def duration_s(self) -> float:
        """From the first frame to the end of the last, which is shown for a mean interval."""
        return self.times[-1] - self.times[0] + 1 / self.frame_rate

    @property
    def rate_is_variable(self) -> bool:
        """Whether frame intervals differ by more than a tenth and more than rounding to ticks."""
        steps = sorted(b - a for a, b in pairwise(self.times))
        return steps[-1] - steps[0] > max(0.1 * steps[len(steps) // 2], 1.5 * self.tick_s)


def recognise(head: bytes) -> str:
    """Return the FFmpeg demuxer for a file that starts with ``head`` (by content, not name).

    Raises
    ------
    NotAVideo
        When it is neither MP4/MOV nor Matroska/WebM.
    """
    if head[4:8] in _MOV_BOXES:
        return "mov"
    if head[:4] == b"\x1aE\xdf\xa3":
        return "matroska"
    if not head:
        raise NotAVideo(say(NoteCode.NO_BYTES))
    if head.lstrip(b"\xef\xbb\xbf").startswith(b"#EXTM3U"):
        raise NotAVideo(say(NoteCode.A_PLAYLIST))
    if head[:4] == b"RIFF" or head[:3] == b"FLV" or head[:4] == b"\x30\x26\xb2\x75":
        raise NotAVideo(say(NoteCode.CONTAINER_NOT_ACCEPTED))
    raise NotAVideo()


def ends_inside_a_box(file: BinaryIO) -> bool:
    """Whether an MP4 file ends before its last top-level box does (ISO/IEC 14496-12)."""
    end = file.seek(0, 2)
    at = 0
    while at < end:
        file.seek(at)
        head = file.read(16)
        size = int.from_bytes(head[:4], "big")
        if len(head) < 8:
            return True
        if size == 0:  # to the end of the file
            return False
        if size == 1:
            size = int.from_bytes(head[8:16], "big")
        if size < 8:
            return True
        at += size
    return at > end


def missing_by_time(times: list[float], duration_s: float) -> int:
    """Return how many frames seem to be missing from a film whose container counts none.

    A pause of more than four usual intervals, and an end more than four intervals before the
    stated duration, count as lost frames.

    Parameters
    ----------
    times : list of float
        Display times, seconds.
    duration_s : float
        What the container states; 0 = nothing.
    """
    steps = [b - a for a, b in pairwise(times)]
    usual = sorted(steps)[len(steps) // 2]
    steps.append(times[0] + duration_s - times[-1])
    return sum(round(step / usual) - 1 for step in steps if step > 4 * usual)


def probe(path: str, limits: DecodeLimits) -> Probe:
    """Read the facts of a film.

    Parameters
    ----------
    path : str
        File to read.
    limits : DecodeLimits

    Raises
    ------
    NotAVideo, ClipDamaged, ClipWithoutFrames, ClipWithoutPicture, CodecNotSupported
        When there is no film that can be decoded.
    ClipTooLong, ClipTooManyFrames, ClipResolutionTooHigh, DecodeLimitExceeded
        When it exceeds a limit.
    """
    with Path(path).open("rb") as file:
        demuxer = recognise(file.read(16))
        cut_short = demuxer == "mov" and ends_inside_a_box(file)
    options = {"protocol_whitelist": PROTOCOLS, "format_whitelist": DEMUXERS[demuxer]}
    try:
        with av.open(path, format=demuxer, options=options, metadata_errors="replace") as container:
            return _read(container, demuxer, limits, cut_short=cut_short)
    except MemoryError as error:
        raise DecodeLimitExceeded() from error
    except (av.error.FFmpegError, UnicodeError, OverflowError) as error:
        reason = getattr(error, "strerror", None) or type(error).__name__
        raise ClipDamaged(say(NoteCode.CONTAINER_DAMAGED, reason=reason)) from error


def _read(container: Any, demuxer: str, limits: DecodeLimits, *, cut_short: bool) -> Probe:
    stream = _picture_stream(container, cut_short=cut_short)
    context = stream.codec_context
    codec = None if context is None else str(context.codec.canonical_name)
    if codec not in CODECS:
        raise CodecNotSupported(say(NoteCode.CODEC_IS, codec=codec or "unknown"))
    width, height = int(context.width), int(context.height)
    if width <= 0 or height <= 0:
        raise ClipDamaged(say(NoteCode.PICTURE_SIZE_UNKNOWN))
    if width * height > limits.pixels:
        raise ClipResolutionTooHigh(
            say(NoteCode.PICTURE_TOO_LARGE, width=width, height=height, limit=limits.pixels / 1e6)
        )
    tick = float(stream.time_base or 0)
    stated_s = float(stream.duration * tick) if stream.duration else (container.duration or 0) / 1e6
    _check_duration(stated_s, limits)
    _check_count(int(stream.frames), limits)
    # Entries of the index, not `stream.frames`: that counts what an edit list has cut off, too.
    listed = sum(not e.is_discard for e in stream.index_entries) if stream.frames else 0
    times, keys, start_s = _display_times(container, stream, tick, limits)
    stated = max(len(times), listed)
    if stream.frames == 0 and len(times) > 2:
        alone = len(container.streams) == 1
        stated += missing_by_time(times, _tagged_duration(stream) or (stated_s if alone else 0))
    if stated == 0:
        raise ClipWithoutFrames()
    if len(times) < 2:
        raise (ClipWithoutFrames(say(NoteCode.SINGLE_PICTURE)) if stated == 1 else ClipDamaged())
    transfer = TRANSFERS.get(int(context.color_trc or 0))
    found = Probe(
        demuxer=demuxer,
        codec=codec,
        pixel_format=context.pix_fmt,
        transfer=transfer,
        wide_colour=transfer is not None
        or int(context.color_primaries or 0) not in PLAIN_PRIMARIES,
        width=width,
        height=height,
        times=times,
        start_s=start_s + times[0],
        tick_s=tick,
        frames_stated=stated,
        tags={**dict(container.metadata), **dict(stream.metadata)},
        keys=keys,
    )
    if found.frame_rate > limits.fps:
        raise ClipDamaged(
            say(NoteCode.TIME_STAMPS_TOO_FAST, fps=found.frame_rate, limit=limits.fps)
        )
    return found


def _picture_stream(container: Any, *, cut_short: bool) -> Any:
    """Return the first picture track, which is also the one the decoder library takes."""
    for stream in container.streams.video:
        if not stream.disposition & stream.disposition.__class__.attached_pic:
            if stream is not container.streams.video[0]:
                raise NotAVideo(say(NoteCode.FIRST_PICTURE_STILL))
            return stream
    if container.streams.video or container.streams.audio:
        raise ClipWithoutPicture()
    raise ClipDamaged() if cut_short else ClipWithoutFrames()


def _tagged_duration(stream: Any) -> float:
    """Return the duration Matroska writers state per track, seconds; 0 when there is none."""
    parts = str(stream.metadata.get("DURATION", "")).split(":")
    try:
        hours, minutes, seconds = (float(part) for part in parts)
    except ValueError:
        return 0.0
    return 3600 * hours + 60 * minutes + seconds


def _display_times(
    container: Any, stream: Any, tick: float, limits: DecodeLimits
) -> tuple[list[float], tuple[int, ...], float]:
    """Demux the whole track; return the display times from the stream's start, seconds.

    Second, the places among them at which decoding can begin; third, the stream's start on the
    file's time line, seconds.
    """
    stamps: set[int] = set()
    keys: set[int] = set()
    try:
        for packet in container.demux(stream):
            if packet.pts is None or packet.is_discard:
                continue
            stamps.add(int(packet.pts))
            if packet.is_keyframe:
                keys.add(int(packet.pts))
            _check_count(len(stamps), limits)
    except av.error.EOFError:
        pass
    except av.error.FFmpegError:
        # A file cut short or damaged inside: what precedes is still a film.
        if not stamps:
            raise
    start = int(stream.start_time) if stream.start_time is not None else min(stamps, default=0)
    ordered = sorted(stamps)
    times = [(stamp - start) * tick for stamp in ordered]
    if times:
        _check_duration(times[-1] - times[0], limits)
    keys_at = tuple(place for place, stamp in enumerate(ordered) if stamp in keys)
    return times, keys_at, start * tick


def _check_duration(seconds: float, limits: DecodeLimits) -> None:
    if seconds > limits.duration_s:
        raise ClipTooLong(say(NoteCode.CLIP_LASTS, seconds=seconds, limit=limits.duration_s))


def _check_count(frames: int, limits: DecodeLimits) -> None:
    if frames > limits.frames:
        raise ClipTooManyFrames(say(NoteCode.FRAMES_OVER_LIMIT, limit=limits.frames))
