"""The lift as an ONNX file: the network, and the scaling of its inputs.

Weights are stored as fp16 and the arithmetic is double: the network is small, and what comes out
of it starts a fit that should not depend on the rounding of a float.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import onnx
from onnx import TensorProto, helper, numpy_helper

from models.training.rendered.rotation import Array

OPSET = 17
FARTHEST = 6.0
"""Standard deviations beyond which an input is held: outside, the network knows nothing."""
STEEPEST = 60.0
"""Beyond it the exponential of an activation is held, so that it stays finite."""

INPUT, OUTPUT = "features", "answer"


def lift_file(mean: Array, scale: Array, layers: Sequence[tuple[Array, Array]]) -> bytes:
    """Return the network as ONNX: features (T, 399) to answers (T, 69), both double.

    Parameters
    ----------
    mean, scale : ndarray, shape (399,)
        Of the inputs on the training frames.
    layers : sequence of (ndarray, shape (in, out); ndarray, shape (out,))
        Dense layers, each but the last followed by SiLU, x / (1 + exp(-x)).
    """
    nodes: list[onnx.NodeProto] = []
    weights: list[onnx.TensorProto] = []

    def number(name: str, value: float) -> str:
        weights.append(numpy_helper.from_array(np.array(value, np.float64), name))
        return name

    def stored(name: str, values: Array) -> str:
        weights.append(numpy_helper.from_array(np.asarray(values, np.float16), f"{name}.fp16"))
        nodes.append(helper.make_node("Cast", [f"{name}.fp16"], [name], to=TensorProto.DOUBLE))
        return name

    def step(operator: str, inputs: Sequence[str], output: str) -> str:
        nodes.append(helper.make_node(operator, list(inputs), [output]))
        return output

    near, far = number("nearest", -FARTHEST), number("farthest", FARTHEST)
    flat, steep, one = number("flat", -STEEPEST), number("steep", STEEPEST), number("one", 1.0)
    value = step("Sub", [INPUT, stored("mean", mean)], "centred")
    value = step("Div", [value, stored("scale", scale)], "scaled")
    value = step("Clip", [value, near, far], "held")
    for i, (weight, bias) in enumerate(layers):
        last = i == len(layers) - 1
        product = step("MatMul", [value, stored(f"weight{i}", weight)], f"product{i}")
        name = OUTPUT if last else f"sum{i}"
        value = step("Add", [product, stored(f"bias{i}", bias)], name)
        if not last:
            held = step("Clip", [value, flat, steep], f"clipped{i}")
            power = step("Exp", [step("Neg", [held], f"negative{i}")], f"power{i}")
            value = step("Div", [value, step("Add", [one, power], f"under{i}")], f"active{i}")
    graph = helper.make_graph(
        nodes,
        "lift",
        [helper.make_tensor_value_info(INPUT, TensorProto.DOUBLE, ["frames", len(mean)])],
        [helper.make_tensor_value_info(OUTPUT, TensorProto.DOUBLE, ["frames", len(layers[-1][1])])],
        weights,
    )
    model = helper.make_model(graph, opset_imports=[helper.make_opsetid("", OPSET)], ir_version=8)
    onnx.checker.check_model(model, full_check=True)
    data: bytes = model.SerializeToString(deterministic=True)
    return data
