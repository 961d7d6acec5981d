"""Film in: facts, upright RGB frames with real times, and whether the film is good enough.

::

    clip        open_clip, grab_frames: what the pipeline uses
    sandbox     starts, feeds and ends the decoder process
    child       the decoder process;  hardening: the walls around it
    probe       facts of the container, early refusals
    decode      frames and their times;  readers: OpenCV and PyAV;  tone: curves for HLG and PQ
    capture_fps real time of slow-motion files
    usability   sharpness, exposure, frame rate, resolution
    limits      what a film may cost

Imports here are lazy, so that the decoder process starts without what it does not need.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from workers.video.clip import ClipStream, DecodedFrame, grab_frames, open_clip
    from workers.video.limits import DecodeLimits

__all__ = ["ClipStream", "DecodeLimits", "DecodedFrame", "grab_frames", "open_clip"]


def __getattr__(name: str) -> Any:
    if name == "DecodeLimits":
        from workers.video.limits import DecodeLimits

        return DecodeLimits
    if name in __all__:
        from workers.video import clip

        return getattr(clip, name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
