"""Which networks run. The one place of the pose stage that opens sessions."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from workers.pose.networks import Runner
from workers.pose.session import Device, OnnxSession, open_session

FINDER = "movenet_multipose"
"""The network that finds the people in a picture."""


class BlazePoseVariant(StrEnum):
    """The network that gives the 33 landmarks."""

    HEAVY = "blazepose_heavy"
    FULL = "blazepose_full"


class SecondNetwork(StrEnum):
    """The network whose agreement measures confidence."""

    THUNDER = "movenet_thunder"
    NONE = "none"


@dataclass(frozen=True, slots=True)
class PoseChoice:
    """Setting of the pose stage."""

    blazepose: BlazePoseVariant = BlazePoseVariant.HEAVY
    second: SecondNetwork = SecondNetwork.THUNDER
    device: Device = Device.CPU
    threads: int = 1


@dataclass(frozen=True, slots=True)
class Networks:
    """The opened networks; anything callable will do in a test.

    Attributes
    ----------
    finder, blazepose : Runner
    movenet : Runner or None
    names : tuple of str
        Registry names of the two pose networks, as used for ``JointTrack.sources``.
    coarse : Runner or None
        The cheapest network, for a first look; None = every frame is seen closely.
    """

    finder: Runner
    blazepose: Runner
    movenet: Runner | None
    names: tuple[str, str] = (BlazePoseVariant.HEAVY.value, SecondNetwork.THUNDER.value)
    coarse: Runner | None = None
    coarse_name: str = BlazePoseVariant.FULL.value

    @property
    def sessions(self) -> tuple[OnnxSession, ...]:
        """The ONNX sessions among them, for provenance in a result."""
        opened = (self.finder, self.coarse, self.blazepose, self.movenet)
        return tuple(runner for runner in opened if isinstance(runner, OnnxSession))


def open_networks(choice: PoseChoice | None = None) -> Networks:
    """Open the networks of a choice.

    Raises
    ------
    ModelUnknown, ModelFileDamaged, ComputeDeviceUnavailable
    """
    chosen = choice or PoseChoice()
    second = chosen.second
    return Networks(
        finder=open_session(FINDER, chosen.device, chosen.threads),
        blazepose=open_session(chosen.blazepose.value, chosen.device, chosen.threads),
        movenet=None
        if second is SecondNetwork.NONE
        else open_session(second.value, chosen.device, chosen.threads),
        names=(chosen.blazepose.value, second.value),
        coarse=open_session(BlazePoseVariant.FULL.value, chosen.device, chosen.threads),
    )
