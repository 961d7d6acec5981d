"""The lift as an ONNX file: weights of eight bits with a scale for each channel, single arithmetic.

Rounding is a thousandth of what the landmarks leave open; a test holds the file's answers against
the network's.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import onnx
from onnx import TensorProto, helper, numpy_helper

from workers.engine.lift_input import WIDTH
from workers.engine.lift_layout import ANSWERS

from .shape import DILATIONS, EPSILON, FARTHEST, POOLED

Array = np.ndarray[Any, np.dtype[Any]]

OPSET = 17
INPUT, OUTPUT = "features", "answer"
LARGEST = 127


class _File:
    """Nodes and weights of a graph under construction."""

    def __init__(self, given: Mapping[str, Array]) -> None:
        self.given = given
        self.nodes: list[onnx.NodeProto] = []
        self.weights: list[onnx.TensorProto] = []
        self._count = 0

    def constant(self, values: object, kind: type = np.float32) -> str:
        self._count += 1
        name = f"c{self._count}"
        self.weights.append(numpy_helper.from_array(np.asarray(values, kind), name))
        return name

    def step(self, operator: str, inputs: Sequence[str], **attributes: Any) -> str:
        self._count += 1
        name = f"x{self._count}"
        self.nodes.append(helper.make_node(operator, list(inputs), [name], **attributes))
        return name

    def weight(self, values: Array) -> str:
        """Weights (out, in, k) as whole numbers, rounded to the nearest, one scale an output."""
        array = np.asarray(values, np.float32)
        scale = np.maximum(np.abs(array).max((1, 2)), 1e-8) / LARGEST
        whole = np.clip(np.round(array / scale[:, None, None]), -LARGEST, LARGEST)
        parts = [
            self.constant(whole, np.int8),
            self.constant(scale),
            self.constant(np.zeros(len(scale)), np.int8),
        ]
        return self.step("DequantizeLinear", parts, axis=0)

    def convolution(self, layer: str, value: str, dilation: int = 1) -> str:
        weight = self.given[f"{layer}.weight"]
        reach = dilation * (weight.shape[2] // 2)
        inputs = [value, self.weight(weight), self.constant(self.given[f"{layer}.bias"])]
        return self.step("Conv", inputs, dilations=[dilation], pads=[reach, reach])

    def silu(self, value: str) -> str:
        return self.step("Mul", [value, self.step("Sigmoid", [value])])

    def normal(self, layer: str, value: str) -> str:
        centred = self.step("Sub", [value, self.step("ReduceMean", [value], axes=[1])])
        square = self.step("ReduceMean", [self.step("Mul", [centred, centred])], axes=[1])
        size = self.step("Sqrt", [self.step("Add", [square, self.constant(EPSILON)])])
        scale = self.constant(self.given[f"{layer}.gain"][:, None])
        return self.step("Mul", [self.step("Div", [centred, size]), scale])


def lift_file(given: Mapping[str, Array]) -> bytes:
    """Return a trained network as ONNX: features (T, WIDTH) to answers (T, ANSWERS), float32.

    ``given`` are its weights by the names of `.network.LiftNetwork`.
    """
    file = _File(given)
    value = file.step("Sub", [INPUT, file.constant(given["mean"])])
    value = file.step("Div", [value, file.constant(given["scale"])])
    limits = [file.constant(-FARTHEST), file.constant(FARTHEST)]
    value = file.step("Clip", [value, *limits])
    value = file.step("Transpose", [value], perm=[1, 0])
    axis = file.constant([0], np.int64)
    value = file.convolution("stem", file.step("Unsqueeze", [value, axis]))
    for i, dilation in enumerate(DILATIONS):
        inner = file.silu(file.normal(f"blocks.{i}.normal", value))
        inner = file.silu(file.convolution(f"blocks.{i}.wide", inner, dilation))
        value = file.step("Add", [value, file.convolution(f"blocks.{i}.mix", inner)])
        if i in POOLED:
            film = file.silu(file.step("ReduceMean", [value], axes=[2]))
            film = file.convolution(f"pools.{POOLED.index(i)}", film)
            value = file.step("Add", [value, film])
    value = file.silu(file.normal("normal", value))
    value = file.convolution("last", file.silu(file.convolution("hidden", value)))
    value = file.step("Squeeze", [value, axis])
    file.nodes.append(helper.make_node("Transpose", [value], [OUTPUT], perm=[1, 0]))
    graph = helper.make_graph(
        file.nodes,
        "lift",
        [helper.make_tensor_value_info(INPUT, TensorProto.FLOAT, ["frames", WIDTH])],
        [helper.make_tensor_value_info(OUTPUT, TensorProto.FLOAT, ["frames", ANSWERS])],
        file.weights,
    )
    model = helper.make_model(graph, opset_imports=[helper.make_opsetid("", OPSET)], ir_version=8)
    onnx.checker.check_model(model, full_check=True)
    data: bytes = model.SerializeToString(deterministic=True)
    return data
