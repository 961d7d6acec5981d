"""The stages as the settings of this installation want them."""

from __future__ import annotations

from functools import cache

from service.core.settings import Settings
from workers.pipeline.run import StageFunctions
from workers.pipeline.stages import StageChoice, build_stages
from workers.video.limits import DecodeLimits


def decode_limits(settings: Settings) -> DecodeLimits:
    """Return the limits of one film."""
    return DecodeLimits(
        size_bytes=settings.max_clip_bytes,
        duration_s=settings.max_clip_duration_s,
        pixels=settings.max_clip_pixels,
        fps=settings.max_clip_frame_rate,
        frames=settings.max_clip_frames,
        wall_s=float(settings.decode_wall_s),
        cpu_s=settings.decode_cpu_s,
        memory_bytes=settings.decode_memory_bytes,
    )


@cache
def shared_stages(settings: Settings, models: tuple[str, ...] | None = None) -> StageFunctions:
    """Return the stages of these settings, one set a process and choice of networks."""
    return build_stages(
        StageChoice(
            models=models or settings.models,
            device=settings.device,
            limits=decode_limits(settings),
            pictures=settings.pictures,
            beside=settings.second_network_beside,
        )
    )
