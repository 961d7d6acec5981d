"""Prunes unused heads, gives tensors plain names, stores weights as fp16 without loss."""

from __future__ import annotations

import numpy as np
import onnx
import onnx.utils
from onnx import TensorProto, helper, numpy_helper

from models.convert.recipes import Recipe

INPUT_NAME = "image"

_SMALLEST = 16
"""Tensors with fewer numbers than this stay fp32: a Cast node would cost more bytes."""


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


def store_half(model: onnx.ModelProto) -> tuple[onnx.ModelProto, int, int]:
    """Weights that fp16 holds exactly are stored so, each followed by a Cast to fp32.

    The arithmetic stays fp32: ONNX Runtime folds the casts when it loads the file.

    Returns
    -------
    model : onnx.ModelProto
        A new model, same results.
    halved, kept : int
        How many numbers are stored as fp16, and how many stayed fp32 because fp16
        would change them or because the tensor is tiny.
    """
    small = onnx.ModelProto()
    small.CopyFrom(model)
    del small.graph.initializer[:]
    casts = []
    halved = kept = 0
    for tensor in model.graph.initializer:
        if tensor.data_type != TensorProto.FLOAT:
            small.graph.initializer.append(tensor)
            continue
        values = numpy_helper.to_array(tensor)
        with np.errstate(over="ignore"):
            half = values.astype(np.float16)
        if values.size < _SMALLEST or not np.array_equal(half.astype(np.float32), values):
            small.graph.initializer.append(tensor)
            kept += values.size
            continue
        stored = f"{tensor.name}.fp16"
        small.graph.initializer.append(numpy_helper.from_array(half, stored))
        casts.append(helper.make_node("Cast", [stored], [tensor.name], to=TensorProto.FLOAT))
        halved += values.size
    nodes = [*casts, *model.graph.node]
    del small.graph.node[:]
    small.graph.node.extend(nodes)
    onnx.checker.check_model(small, full_check=True)
    return small, halved, kept
