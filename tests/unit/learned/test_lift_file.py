"""The lift's ONNX file against the same arithmetic written out in numpy."""

from __future__ import annotations

import numpy as np
import onnx
from onnx import TensorProto, numpy_helper

from models.registry import load_learned
from models.training.lift.network_file import FARTHEST, lift_file
from workers.learned import load
from workers.learned.network import lift_network

RNG = np.random.default_rng(5)


def written_out(
    read: np.ndarray, mean: np.ndarray, scale: np.ndarray, layers: list[tuple[np.ndarray, ...]]
) -> np.ndarray:
    """Dense layers with SiLU between them; inputs scaled and held."""
    answer = np.clip((read - mean) / scale, -FARTHEST, FARTHEST)
    for number, (weight, bias) in enumerate(layers):
        answer = answer @ weight + bias
        if number < len(layers) - 1:
            answer = answer / (1.0 + np.exp(-np.clip(answer, -60.0, 60.0)))
    return np.asarray(answer)


def parts() -> tuple[np.ndarray, np.ndarray, list[tuple[np.ndarray, ...]]]:
    """Mean, scale and layers inside the shipped file."""
    graph = onnx.load_from_string(load_learned("lift")).graph
    held = {t.name: numpy_helper.to_array(t).astype(np.float64) for t in graph.initializer}
    layers = [(held[f"weight{i}.fp16"], held[f"bias{i}.fp16"]) for i in range(3)]
    return held["mean.fp16"], held["scale.fp16"], layers


def test_shipped_lift_is_double_and_says_the_same_as_numpy() -> None:
    mean, scale, layers = parts()
    read = mean + 3.0 * scale * RNG.normal(size=(40, len(mean)))
    answer = load().learned.lift(read)
    assert answer.dtype == np.float64
    np.testing.assert_allclose(answer, written_out(read, mean, scale, layers), rtol=0, atol=1e-12)


def test_inputs_are_held_far_out() -> None:
    mean, scale, _ = parts()
    run = load().learned.lift
    far, farther = (mean + k * scale for k in (2.0 * FARTHEST, 9.0 * FARTHEST))
    np.testing.assert_array_equal(run(far[None]), run(farther[None]))


def test_a_steep_activation_stays_finite() -> None:
    layers = [(np.full((2, 2), -900.0), np.zeros(2)), (np.eye(2), np.zeros(2))]
    run = lift_network(lift_file(np.zeros(2), np.ones(2), layers))
    assert np.isfinite(run(np.full((1, 2), 5.0))).all()


def test_equal_weights_give_equal_files() -> None:
    mean, scale, layers = parts()
    assert lift_file(mean, scale, layers) == load_learned("lift")
    graph = onnx.load_from_string(load_learned("lift")).graph
    assert graph.input[0].type.tensor_type.elem_type == TensorProto.DOUBLE
