"""Films of wanted length, rate and number of serves, made from one film of one serve.

The serve is repeated with standing between; standing is the first moments of the film played to
and fro, so that the pictures keep moving a little. Between two frames of the source, pictures are
blended. Where a serve ends and standing begins the picture jumps.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
import numpy.typing as npt

STANDING_S = 0.3
"""Part of the source that counts as standing, seconds."""
BETWEEN_S = 0.5
"""Least standing between two serves, seconds."""
FAST = {
    "libx264": {"preset": "ultrafast", "crf": "23"},
    "libx265": {"preset": "ultrafast", "crf": "26", "x265-params": "log-level=error"},
}
"""Options of the encoders: speed first, at about the size that a phone writes (working values)."""

Planes = npt.NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class Plan:
    """A film to compose.

    Attributes
    ----------
    seconds, rate : float, int
        Length and frames per second.
    serves : int
    height : int or None
        Lines; None = as the source.
    codec : str
        Name of the encoder.
    at_edges : bool
        The first serve begins with the film and the last ends with it.
    """

    seconds: float
    rate: int
    serves: int
    height: int | None = None
    codec: str = "libx264"
    at_edges: bool = False

    @property
    def name(self) -> str:
        """Short description."""
        size = f", {self.height} lines" if self.height else ""
        coded = "" if self.codec == "libx264" else f", {self.codec}"
        edges = ", at the film's ends" if self.at_edges else ""
        return f"{self.seconds:g} s, {self.rate} fps, {self.serves} serves{size}{coded}{edges}"


def fits(plan: Plan, serve_s: float) -> bool:
    """Tell whether so many serves fit into the film."""
    return plan.serves * (serve_s + BETWEEN_S) <= plan.seconds + BETWEEN_S


def source_times(plan: Plan, serve_s: float) -> npt.NDArray[np.float64]:
    """Return for each frame of the film the second of the source that it shows."""
    times = np.arange(round(plan.seconds * plan.rate)) / plan.rate
    shown = STANDING_S - np.abs(np.mod(times, 2.0 * STANDING_S) - STANDING_S)
    slot = plan.seconds / max(1, plan.serves)
    lead = max(0.0, slot - serve_s) / 2.0
    if plan.at_edges:
        slot, lead = max(0.0, plan.seconds - serve_s) / max(1, plan.serves - 1), 0.0
    for number in range(plan.serves):
        start = number * slot + lead
        inside = (times >= start) & (times < start + serve_s)
        shown[inside] = times[inside] - start
    return np.asarray(shown)


def compose(source: Path, plan: Plan, out: Path) -> Path:
    """Write the film.

    Raises
    ------
    ValueError
        If the source holds no frames.
    """
    planes, rate, width, height = _read(source)
    if not planes:
        raise ValueError(f"{source} holds no frames")
    tall = plan.height or height
    wide = round(width * tall / height / 2) * 2
    with av.open(str(out), "w") as film:
        stream: Any = film.add_stream(
            plan.codec, rate=Fraction(plan.rate), options=FAST.get(plan.codec, {})
        )
        stream.width, stream.height, stream.pix_fmt = wide, tall, "yuv420p"
        stream.gop_size = plan.rate  # one key frame a second, as phones do
        for second in source_times(plan, len(planes) / rate):
            picture = av.VideoFrame.from_ndarray(
                _blended(planes, float(second) * rate), format="yuv420p"
            )
            if (wide, tall) != (width, height):
                picture = picture.reformat(wide, tall)
            film.mux(stream.encode(picture))
        film.mux(stream.encode(None))
    return out


def _read(source: Path) -> tuple[list[Planes], float, int, int]:
    with av.open(str(source)) as film:
        stream = film.streams.video[0]
        rate = float(stream.average_rate or 30)
        planes = [
            np.asarray(frame.to_ndarray(format="yuv420p"), np.uint8)
            for frame in film.decode(stream)
        ]
        return planes, rate, stream.width, stream.height


def _blended(planes: list[Planes], place: float) -> Planes:
    before = min(int(place), len(planes) - 1)
    share = place - before
    after = min(before + 1, len(planes) - 1)
    if share < 1e-3 or after == before:
        return planes[before]
    mixed = planes[before] * np.float32(1.0 - share) + planes[after] * np.float32(share)
    return np.asarray(np.round(mixed), np.uint8)
