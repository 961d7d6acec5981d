"""The shipped ONNX files answer as the source runtimes did.

``source_outputs.npz`` holds what the runtimes of the source files (TensorFlow Lite
interpreter, TensorFlow) answered for the shipped picture; ``python -m models.convert``
wrote it, and it does not come from ONNX.
"""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import onnx
import onnxruntime as ort
import pytest
from onnx import TensorProto

from models import registry
from models.convert.difference import largest_gap, used_gap
from models.convert.shrink import Stored, stored
from models.registry import ModelEntry

DATA = Path(__file__).parents[2] / "data" / "pose"


def picture(entry: ModelEntry) -> np.ndarray:
    bgr = cv2.imread(str(DATA / "serve_crop.png"))
    assert bgr is not None
    rgb = cv2.cvtColor(bgr, cv2.COLOR_BGR2RGB)[None]
    if entry.input.dtype == "int32":
        return rgb.astype(np.int32)
    return rgb.astype(np.float32) / np.float32(255)


@pytest.mark.parametrize("name", registry.names())
def test_outputs_equal_the_source_runtime(name: str) -> None:
    entry = registry.entry(name)
    session = ort.InferenceSession(registry.load(name), providers=["CPUExecutionProvider"])
    heads = [output.name for output in entry.outputs]
    got = session.run(heads, {entry.input.name: picture(entry)})
    with np.load(DATA / "source_outputs.npz") as expected:
        for head, values, check in zip(heads, got, entry.check.differences, strict=True):
            assert check.output == head
            assert check.largest <= check.tolerance
            if head == "heatmaps":  # stored thinned: every fourth row and column
                values = values[:, ::4, ::4]
            gap = largest_gap if entry.weights.lossless else used_gap
            assert gap(head, values, expected[f"{name}/{head}"]) <= check.tolerance


@pytest.mark.parametrize("name", registry.names())
def test_interface_is_the_recorded_one(name: str) -> None:
    entry = registry.entry(name)
    session = ort.InferenceSession(registry.load(name), providers=["CPUExecutionProvider"])
    (image,) = session.get_inputs()
    assert (image.name, tuple(image.shape)) == (entry.input.name, entry.input.shape)
    assert image.type == {"int32": "tensor(int32)", "float32": "tensor(float)"}[entry.input.dtype]
    got = [(output.name, tuple(output.shape)) for output in session.get_outputs()]
    assert got == [(output.name, output.shape) for output in entry.outputs]


@pytest.mark.parametrize("name", registry.names())
def test_arithmetic_is_fp32_and_stored_weights_are_counted(name: str) -> None:
    entry = registry.entry(name)
    graph = onnx.load_from_string(registry.load(name)).graph
    small = (TensorProto.FLOAT16, TensorProto.INT8)
    half = {t.name: t for t in graph.initializer if t.data_type in small}
    users = [(node.op_type, value) for node in graph.node for value in node.input if value in half]
    assert {op for op, _ in users} == {"Cast"}
    assert len(users) == len(half)
    found = stored(onnx.load_from_string(registry.load(name)))
    weights = entry.weights
    assert found == Stored(weights.stored_int8, weights.stored_fp16, weights.stored_fp32)


@pytest.mark.parametrize("name", registry.names())
def test_card_names_digest_licence_and_source(name: str) -> None:
    entry = registry.entry(name)
    card = (registry.FOLDER / "cards" / f"{name}.md").read_text(encoding="utf-8")
    for needed in (entry.sha256, entry.licence, entry.source.package, entry.source.version):
        assert needed in card
