"""Prunes unused heads, gives tensors plain names, stores weights as fp16 or eight-bit numbers."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import onnx
import onnx.utils
from onnx import TensorProto, helper, numpy_helper

from models.convert.recipes import Recipe

INPUT_NAME = "image"

_SMALLEST = 16
"""Tensors with fewer numbers than this stay fp32: a Cast node would cost more bytes."""

_FEW = 30_000
"""Kernels with fewer numbers than this are not rounded to eight bits. They are the first layers,
a twentieth of the numbers; with them rounded, the finder's joints of a person 77 pixels high were
off by 0.255 instead of 0.249 of the torso length (exact weights: 0.246)."""


@dataclass(frozen=True)
class Stored:
    """How many numbers are stored in which way.

    ``fp32`` are those that fp16 would change, and tiny tensors.
    """

    int8: int
    fp16: int
    fp32: int


def prune(model: onnx.ModelProto, recipe: Recipe) -> onnx.ModelProto:
    """Only what the kept heads need, with the recipe's names for input and outputs."""
    kept = onnx.utils.Extractor(model).extract_model(
        [model.graph.input[0].name], [head.source for head in recipe.heads]
    )
    names = {kept.graph.input[0].name: INPUT_NAME}
    names |= {head.source: head.name for head in recipe.heads}
    for node in kept.graph.node:
        node.input[:] = [names.get(name, name) for name in node.input]
        node.output[:] = [names.get(name, name) for name in node.output]
        node.doc_string = ""
    for value in (*kept.graph.input, *kept.graph.output):
        value.name = names.get(value.name, value.name)
    _set_shape(kept.graph.input[0], recipe.input_shape)
    for head, value in zip(recipe.heads, kept.graph.output, strict=True):
        _set_shape(value, head.shape)
    # Shapes of inner tensors are inferred again at load; they only cost bytes here.
    del kept.graph.value_info[:]
    kept.graph.name = recipe.name
    kept.doc_string = ""
    return kept


def _set_shape(value: onnx.ValueInfoProto, shape: tuple[int | str, ...]) -> None:
    kind = value.type.tensor_type.elem_type
    value.type.CopyFrom(helper.make_tensor_type_proto(kind, shape))


def store_half(model: onnx.ModelProto) -> onnx.ModelProto:
    """Weights that fp16 holds exactly are stored so, each followed by a Cast to fp32.

    The arithmetic stays fp32: ONNX Runtime folds the casts when it loads the file. The result is
    a new model with the same answers.
    """
    small, casts = _without_weights(model), []
    for tensor in model.graph.initializer:
        half = _exact_half(tensor)
        if half is None:
            small.graph.initializer.append(tensor)
            continue
        stored = f"{tensor.name}.fp16"
        small.graph.initializer.append(numpy_helper.from_array(half, stored))
        casts.append(helper.make_node("Cast", [stored], [tensor.name], to=TensorProto.FLOAT))
    return _with_nodes(small, casts)


def store_bytes(model: onnx.ModelProto) -> onnx.ModelProto:
    """Convolution kernels are rounded to eight-bit numbers times one fp32 step a channel.

    The step is the channel's largest weight / 127, so that a weight is off by at most half of
    it. Kernels of less than 30,000 numbers and all else stay as they are. The arithmetic stays
    fp32: ONNX Runtime multiplies the numbers out when it loads the file.
    """
    small, makers = _without_weights(model), []
    kernels = {node.input[1] for node in model.graph.node if node.op_type == "Conv"}
    others = {
        name
        for node in model.graph.node
        for position, name in enumerate(node.input)
        if node.op_type != "Conv" or position != 1
    }
    for tensor in model.graph.initializer:
        values = numpy_helper.to_array(tensor)
        if tensor.name not in kernels - others or values.size < _FEW:
            small.graph.initializer.append(tensor)
            continue
        largest = np.abs(values).max(axis=tuple(range(1, values.ndim)), keepdims=True)
        step = np.where(largest > 0.0, largest / 127.0, 1.0).astype(np.float32)
        whole = np.clip(np.round(values / step), -127, 127).astype(np.int8)
        stored, scale, plain = (f"{tensor.name}.{part}" for part in ("int8", "step", "whole"))
        small.graph.initializer.append(numpy_helper.from_array(whole, stored))
        small.graph.initializer.append(numpy_helper.from_array(step, scale))
        makers.append(helper.make_node("Cast", [stored], [plain], to=TensorProto.FLOAT))
        makers.append(helper.make_node("Mul", [plain, scale], [tensor.name]))
    return _with_nodes(small, makers)


def stored(model: onnx.ModelProto) -> Stored:
    """Count the numbers of a model's weights by how they are stored."""
    kinds = {TensorProto.INT8: 0, TensorProto.FLOAT16: 0, TensorProto.FLOAT: 0}
    for tensor in model.graph.initializer:
        if tensor.data_type in kinds:
            kinds[tensor.data_type] += int(np.prod(tensor.dims, dtype=np.int64))
    return Stored(*kinds.values())


def _exact_half(tensor: onnx.TensorProto) -> np.ndarray | None:
    """The tensor as fp16, or None if that would change it or gain nothing."""
    if tensor.data_type != TensorProto.FLOAT:
        return None
    values = numpy_helper.to_array(tensor)
    with np.errstate(over="ignore"):
        half = values.astype(np.float16)
    exact = np.array_equal(half.astype(np.float32), values)
    return half if exact and values.size >= _SMALLEST else None


def _without_weights(model: onnx.ModelProto) -> onnx.ModelProto:
    bare = onnx.ModelProto()
    bare.CopyFrom(model)
    del bare.graph.initializer[:]
    return bare


def _with_nodes(model: onnx.ModelProto, first: list[onnx.NodeProto]) -> onnx.ModelProto:
    nodes = [*first, *model.graph.node]
    del model.graph.node[:]
    model.graph.node.extend(nodes)
    onnx.checker.check_model(model, full_check=True)
    return model
