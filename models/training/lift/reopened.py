"""Weights of the networks in a lift's file, to train on from where they ended."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import onnx
from onnx import numpy_helper

from .network_file import INPUT
from .shape import DILATIONS, POOLED

Array = np.ndarray[Any, np.dtype[Any]]


def reopened(data: bytes) -> list[dict[str, Array]]:
    """Return the weights of each network of a file, by the names of `.network.LiftNetwork`.

    Parameters
    ----------
    data : bytes
        What `.network_file.lift_file` or `.joined_file.joined_file` made. Kernels come back as
        they were rounded for the file.

    Raises
    ------
    ValueError
        If its networks are of another shape than `.shape` says.
    """
    graph = onnx.load_from_string(data).graph
    known = {one.name: numpy_helper.to_array(one) for one in graph.initializer}
    firsts = [node for node in graph.node if INPUT in node.input]
    prefixes = [node.output[0].rpartition(".")[0] for node in firsts]
    found = []
    for first, prefix in zip(firsts, prefixes, strict=True):
        start = f"{prefix}." if prefix else ""
        nodes = [node for node in graph.node if node.output[0].startswith(start)]
        found.append(_weights(first, nodes, known))
    return found


def _weights(
    first: onnx.NodeProto, nodes: Sequence[onnx.NodeProto], known: dict[str, Array]
) -> dict[str, Array]:
    """Return the weights of one network whose nodes stand in the order they were written."""
    made = {node.output[0]: node for node in nodes}
    convolutions = [node for node in nodes if node.op_type == "Conv"]
    gains = [
        known[node.input[1]]
        for node in nodes
        if node.op_type == "Mul" and node.input[1] in known and known[node.input[1]].ndim == 2
    ]
    layers, normals = _names()
    if len(convolutions) != len(layers) or len(gains) != len(normals):
        raise ValueError("The file's networks are not of the shape that is trained here.")
    scaled = next(node for node in nodes if first.output[0] in node.input)
    weights = {"mean": known[first.input[1]], "scale": known[scaled.input[1]]}
    for name, node in zip(layers, convolutions, strict=True):
        whole, scale, _ = (known[part] for part in made[node.input[1]].input)
        weights[f"{name}.weight"] = whole.astype(np.float32) * scale[:, None, None]
        weights[f"{name}.bias"] = known[node.input[2]]
    for name, gain in zip(normals, gains, strict=True):
        weights[f"{name}.gain"] = gain[:, 0]
    return {name: np.array(part, np.float32) for name, part in weights.items()}


def _names() -> tuple[list[str], list[str]]:
    """Convolutions and normalisations in the order in which a file states them."""
    layers, normals = ["stem"], []
    for i in range(len(DILATIONS)):
        normals.append(f"blocks.{i}.normal")
        layers += [f"blocks.{i}.wide", f"blocks.{i}.mix"]
        if i in POOLED:
            layers.append(f"pools.{POOLED.index(i)}")
    return [*layers, "hidden", "last"], [*normals, "normal"]
