"""Sessions run where they were asked to, or say why not."""

from __future__ import annotations

import numpy as np
import onnxruntime as ort
import pytest

from models import registry
from models.contract.errors import ComputeDeviceUnavailable, ModelUnknown
from workers.pose.agreement import TOLERANCE, agreement, compared
from workers.pose.session import CPU, CUDA, PROVIDERS, Device, open_session, options


def test_cpu_session_names_file_provider_and_threads() -> None:
    session = open_session("blazepose_full")
    assert session.provider == CPU
    assert session.threads == 1
    assert session.sha256 == registry.entry("blazepose_full").sha256
    out = session(np.zeros((1, 256, 256, 3), dtype=np.float32))
    assert set(out) == {"landmarks", "score", "heatmaps", "world"}


def test_options_are_explicit() -> None:
    """The default sizes the pool from the host and spins; both cost throughput here."""
    chosen = options(1)
    assert chosen.intra_op_num_threads == 1
    assert chosen.inter_op_num_threads == 1
    assert chosen.execution_mode == ort.ExecutionMode.ORT_SEQUENTIAL
    assert chosen.get_session_config_entry("session.intra_op.allow_spinning") == "0"


def test_unknown_network_is_refused() -> None:
    with pytest.raises(ModelUnknown):
        open_session("no_such_network")


class _FakeRuntime:
    """An ONNX Runtime that lists CUDA but gives the CPU, as it does without a driver."""

    def __init__(self, data: bytes, chosen: ort.SessionOptions, providers: list[object]) -> None:
        self.asked = providers

    def get_providers(self) -> list[str]:
        return [CPU]


@pytest.fixture(params=["no provider", "silent fall-back"])
def no_gpu(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    if request.param == "no provider":
        monkeypatch.setattr(ort, "get_available_providers", lambda: [CPU])
    else:
        monkeypatch.setattr(ort, "get_available_providers", lambda: [CUDA, CPU])
        monkeypatch.setattr(ort, "InferenceSession", _FakeRuntime)


@pytest.mark.usefixtures("no_gpu")
def test_cuda_refuses_to_start_without_a_gpu() -> None:
    with pytest.raises(ComputeDeviceUnavailable, match="cannot run on cuda") as refused:
        open_session("blazepose_full", Device.CUDA)
    assert "SERVEWRIGHT_DEVICE=cpu" in refused.value.detail


@pytest.mark.parametrize("device", [Device.CUDA, Device.OPENVINO])
def test_a_device_without_its_runtime_is_refused_with_advice(
    device: Device, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(ort, "get_available_providers", lambda: [CPU])
    with pytest.raises(ComputeDeviceUnavailable) as refused:
        open_session("blazepose_full", device)
    assert device.value in refused.value.detail
    assert CPU in refused.value.detail
    assert "infra/devices.md" in refused.value.detail


@pytest.mark.parametrize("name", ["movenet_multipose", "blazepose_full", "movenet_thunder"])
@pytest.mark.parametrize("device", list(Device))
def test_a_device_agrees_with_the_cpu(name: str, device: Device) -> None:
    if PROVIDERS[device] not in ort.get_available_providers():
        pytest.skip(f"this ONNX Runtime does not offer {device}")
    assert agreement(name, device).largest <= TOLERANCE


def test_agreement_measures_what_a_device_gets_wrong() -> None:
    right = {"a": np.array([100.0, 1.0]), "b": np.array([2.0])}
    wrong = {"a": np.array([100.0, 1.5]), "b": np.array([2.1])}
    found = compared("some_network", wrong, right)
    assert (found.network, found.output) == ("some_network", "b")
    assert found.largest == pytest.approx(0.05)  # 0.1 of 2; a: 0.5 of 100
