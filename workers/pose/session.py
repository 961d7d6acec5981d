"""Builds an ONNX Runtime session and proves that it runs where it was asked to.

One thread per process: the workers are scaled by processes, and a spinning thread
pool halves the throughput as soon as anything shares the cores. ONNX Runtime falls
back to the CPU without saying so when another provider cannot start; here the provider
in use is compared with the one asked for. All devices compute in single precision, so that
results hardly depend on them (`servewright doctor` compares).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Any

import numpy as np
import numpy.typing as npt
import onnxruntime as ort

from models import registry
from models.contract.errors import ComputeDeviceUnavailable
from models.contract.note_codes import NoteCode, say

CPU = "CPUExecutionProvider"
CUDA = "CUDAExecutionProvider"
OPENVINO = "OpenVINOExecutionProvider"


class Device(StrEnum):
    """Where the networks run; what is not there is refused, never replaced."""

    CPU = "cpu"
    CUDA = "cuda"
    OPENVINO = "openvino"


PROVIDERS = {Device.CPU: CPU, Device.CUDA: CUDA, Device.OPENVINO: OPENVINO}
"""ONNX Runtime's name of each device."""


@dataclass(frozen=True)
class OnnxSession:
    """One network ready to run; a plain callable for those who use it.

    Attributes
    ----------
    name, sha256 : str
        Registry name and digest of the file in use.
    provider : str
        Execution provider in use, as ONNX Runtime reports it after creation.
    threads : int
        Intra-operator threads.
    """

    name: str
    sha256: str
    provider: str
    threads: int
    _session: Any
    _input: str
    _outputs: tuple[str, ...]

    def __call__(self, image: npt.NDArray[Any]) -> dict[str, npt.NDArray[np.float32]]:
        """Run the network on one input; outputs by name."""
        values = self._session.run(self._outputs, {self._input: image})
        return dict(zip(self._outputs, values, strict=True))


def options(threads: int) -> ort.SessionOptions:
    """Session options of the service: fixed thread count, sequential, no spinning."""
    chosen = ort.SessionOptions()
    chosen.intra_op_num_threads = threads
    chosen.inter_op_num_threads = 1
    # An arena keeps what one picture needed at most: 43 MiB of a worker's 667, and no time saved.
    chosen.enable_cpu_mem_arena = False
    chosen.enable_mem_pattern = False
    chosen.execution_mode = ort.ExecutionMode.ORT_SEQUENTIAL
    chosen.graph_optimization_level = ort.GraphOptimizationLevel.ORT_ENABLE_ALL
    chosen.add_session_config_entry("session.intra_op.allow_spinning", "0")
    chosen.add_session_config_entry("session.inter_op.allow_spinning", "0")
    return chosen


def open_session(name: str, device: Device = Device.CPU, threads: int = 1) -> OnnxSession:
    """Open a shipped network.

    Parameters
    ----------
    name : str
        Name in the model registry.
    device : Device
        Where it must run.
    threads : int
        Intra-operator threads; more than one only makes sense for a single clip on an
        idle machine.

    Raises
    ------
    ModelUnknown, ModelFileDamaged
        From the registry.
    ComputeDeviceUnavailable
        If the session does not run there.
    """
    record = registry.entry(name)
    data = registry.load(name)
    wanted = PROVIDERS[device]
    offered = ort.get_available_providers()
    if wanted not in offered:
        raise ComputeDeviceUnavailable(
            say(NoteCode.DEVICE_NOT_OFFERED, device=device.value, offered=tuple(offered))
        )
    providers = [(wanted, _settings(device, threads))]
    if device is not Device.CPU:
        providers.append((CPU, {}))
    session = ort.InferenceSession(data, options(threads), providers=providers)
    used = session.get_providers()[0]
    if used != wanted:
        raise ComputeDeviceUnavailable(
            say(NoteCode.DEVICE_NOT_USED, network=name, device=device.value, used=used)
        )
    return OnnxSession(
        name=name,
        sha256=record.sha256,
        provider=used,
        threads=threads,
        _session=session,
        _input=record.input.name,
        _outputs=tuple(output.name for output in record.outputs),
    )


def _settings(device: Device, threads: int) -> dict[str, str]:
    """Return what the provider is told: single precision, and as many threads as asked for."""
    if device is Device.CUDA:
        return {"use_tf32": "0"}
    if device is Device.OPENVINO:
        return {"device_type": "CPU", "precision": "FP32", "num_of_threads": str(threads)}
    return {}
