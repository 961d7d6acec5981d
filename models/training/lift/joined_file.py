"""Several trained lifts as one file that answers with what they say together.

Networks that learned from other movements and films err in part differently, so the mean of their
answers is nearer the truth than each; where they disagree, the stated deviation grows by that.

``python -m models.training join-lifts ONE.onnx TWO.onnx --out models/weights/lift.onnx``
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import onnx
from onnx import TensorProto, compose, helper

from workers.engine import lift_layout as layout
from workers.engine.lift_input import WIDTH

from .network_file import INPUT, OPSET, OUTPUT

SPREAD = (
    (layout.JOINT_LOG_SD, layout.RELATIVE),
    (layout.LOG_SD, layout.MEAN),
)
"""Columns with the logarithm of a standard deviation, and the columns of which it is."""


def joined_file(files: Sequence[bytes]) -> bytes:
    """Return one ONNX file: features (T, WIDTH) to the mixture of all answers (T, ANSWERS).

    Each answer is the mean over the networks; the variance of a joint or a head is the mean
    variance plus the variance of the means, as of a mixture with equal weights. The deviation of
    the target's direction is the mean of the logarithms.
    """
    nodes: list[onnx.NodeProto] = []
    weights: list[onnx.TensorProto] = []
    answers = []
    for number, data in enumerate(files):
        graph = compose.add_prefix(onnx.load_from_string(data), f"n{number}.").graph
        own = {graph.input[0].name: INPUT}
        for node in graph.node:
            node.input[:] = [own.get(name, name) for name in node.input]
        nodes += graph.node
        weights += graph.initializer
        answers.append(graph.output[0].name)
    nodes += _mixture(answers, weights)
    graph = helper.make_graph(
        nodes,
        "lifts",
        [helper.make_tensor_value_info(INPUT, TensorProto.FLOAT, ["frames", WIDTH])],
        [helper.make_tensor_value_info(OUTPUT, TensorProto.FLOAT, ["frames", layout.ANSWERS])],
        weights,
    )
    model = helper.make_model(graph, opset_imports=[helper.make_opsetid("", OPSET)], ir_version=8)
    onnx.checker.check_model(model, full_check=True)
    joined: bytes = model.SerializeToString(deterministic=True)
    return joined


def _mixture(answers: list[str], weights: list[onnx.TensorProto]) -> list[onnx.NodeProto]:
    """Nodes from answers (T, ANSWERS) each to their mixture; whole numbers join ``weights``."""
    nodes: list[onnx.NodeProto] = []

    def step(operator: str, inputs: Sequence[str], **attributes: Any) -> str:
        name = f"mix{len(nodes)}"
        nodes.append(helper.make_node(operator, list(inputs), [name], **attributes))
        return name

    def whole(values: Sequence[int]) -> str:
        name = f"mix.whole{len(weights)}"
        weights.append(helper.make_tensor(name, TensorProto.INT64, [len(values)], list(values)))
        return name

    def columns(value: str, part: slice, axis: int) -> str:
        return step("Slice", [value, whole([part.start]), whole([part.stop]), whole([axis])])

    first = whole([0])
    every = step("Concat", [step("Unsqueeze", [one, first]) for one in answers], axis=0)
    mean = step("ReduceMean", [every], axes=[0], keepdims=0)
    half = helper.make_tensor("mix.half", TensorProto.FLOAT, [], [0.5])
    weights.append(half)
    spread = {}
    for said, of in SPREAD:
        log_sd = columns(every, said, 2)
        within = step("ReduceMean", [step("Exp", [step("Add", [log_sd, log_sd])])], axes=[0])
        away = step("Sub", [columns(every, of, 2), columns(mean, of, 1)])
        between = step("ReduceMean", [step("Mul", [away, away])], axes=[0])
        both = step("Log", [step("Add", [within, between])])
        spread[said.start] = step("Squeeze", [step("Mul", [both, half.name]), first])
    parts = [
        columns(mean, slice(0, layout.JOINT_LOG_SD.start), 1),
        spread[layout.JOINT_LOG_SD.start],
        columns(mean, layout.MEAN, 1),
        spread[layout.LOG_SD.start],
        columns(mean, slice(layout.LOG_SD.stop, layout.ANSWERS), 1),
    ]
    nodes.append(helper.make_node("Concat", parts, [OUTPUT], axis=1))
    return nodes


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(
        prog="python -m models.training join-lifts", description=__doc__
    )
    parser.add_argument("lifts", type=Path, nargs="+", help="files that `lift` wrote")
    parser.add_argument("--out", type=Path, required=True)
    options = parser.parse_args()
    options.out.write_bytes(joined_file([path.read_bytes() for path in options.lifts]))


if __name__ == "__main__":
    main()
