"""``python -m workers.pose FILM OUT.npz``: the pose stage alone, for a developer's eyes."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

from workers.pose.choice import open_networks
from workers.pose.estimate import estimate
from workers.pose.frames import Picture


@dataclass(frozen=True)
class _CapturedFrame:
    index: int
    time_s: float
    capture: cv2.VideoCapture

    @property
    def rgb(self) -> Picture:
        """Decode; only while this is the grabbed frame."""
        ok, bgr = self.capture.retrieve()
        if not ok:
            raise OSError(f"frame {self.index} cannot be decoded")
        return np.asarray(cv2.cvtColor(bgr, cv2.COLOR_BGR2RGB), dtype=np.uint8)


def _frames(path: Path) -> Iterator[_CapturedFrame]:
    capture = cv2.VideoCapture(str(path), cv2.CAP_FFMPEG)
    index = 0
    while capture.grab():
        yield _CapturedFrame(index, capture.get(cv2.CAP_PROP_POS_MSEC) / 1000.0, capture)
        index += 1
    capture.release()


def main(arguments: list[str]) -> int:
    """Write one film's joints; prints who was followed and what it saw."""
    film, out = Path(arguments[0]), Path(arguments[1])
    cv2.setNumThreads(1)
    found = estimate(lambda _=None, /: _frames(film), open_networks())
    out.write_bytes(found.track.to_npz())
    seen = float(np.isfinite(found.track.xy[:, 0, 0]).mean())
    print(
        f"{film.name}: {found.server.reason}; followed in {seen:.1%} of {len(found.track)} frames"
    )
    print(f"asked the finder again {found.redetections} times")
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
