"""A TensorFlow.js graph model: rebuilt as a plain TensorFlow graph, run, translated to ONNX.

A TensorFlow.js graph model is a TensorFlow graph written as JSON, with its weights
in a separate file and a few operations fused for the browser. TensorFlow itself
has no kernel for some of those, so they are split back into the standard
operations they stand for. The plain graph then serves twice: TensorFlow runs it as
the reference, and tf2onnx translates it.
"""

from __future__ import annotations

import json

import numpy as np
import onnx
import tensorflow as tf
import tf2onnx.convert
from google.protobuf.json_format import ParseDict
from tensorflow.core.framework import graph_pb2, node_def_pb2, types_pb2

from models.convert.fetch import ConversionError

OPSET = 17

_FUSED = {"_FusedConv2D": "Conv2D", "FusedDepthwiseConv2dNative": "DepthwiseConv2dNative"}
_CONV_ATTRIBUTES = ("T", "strides", "padding", "data_format", "dilations", "explicit_paddings")
_ACTIVATIONS = ("Relu", "Relu6")


def read_weights(manifest: list[dict], blob: bytes) -> dict[str, np.ndarray]:
    """Weights by name, in the dtype the graph wants, from the flat weight file."""
    weights: dict[str, np.ndarray] = {}
    offset = 0
    for group in manifest:
        for entry in group["weights"]:
            quantization = entry.get("quantization")
            stored = np.dtype(quantization["dtype"] if quantization else entry["dtype"])
            count = int(np.prod(entry["shape"], dtype=np.int64))
            flat = np.frombuffer(blob, stored, count, offset)
            offset += flat.nbytes
            if quantization and "scale" in quantization:
                raise ConversionError(f"{entry['name']}: integer weights are not expected here")
            weights[entry["name"]] = flat.astype(entry["dtype"]).reshape(entry["shape"])
    if offset != len(blob):
        raise ConversionError(f"weight file has {len(blob)} bytes, {offset} are described")
    return weights


def split_fused(node: node_def_pb2.NodeDef) -> list[node_def_pb2.NodeDef]:
    """The standard operations a fused convolution stands for; other nodes unchanged."""
    if node.op not in _FUSED:
        return [node]
    steps = [step.decode() for step in node.attr["fused_ops"].list.s]
    if not steps or steps[0] != "BiasAdd" or any(s not in _ACTIVATIONS for s in steps[1:]):
        raise ConversionError(f"{node.name}: do not know how to split {steps}")
    conv = node_def_pb2.NodeDef(name=f"{node.name}/conv", op=_FUSED[node.op], input=node.input[:2])
    for key in _CONV_ATTRIBUTES:
        if key in node.attr:
            conv.attr[key].CopyFrom(node.attr[key])
    out = [conv]
    for position, step in enumerate(steps):
        last = position == len(steps) - 1
        made = node_def_pb2.NodeDef(
            name=node.name if last else f"{node.name}/{step}",
            op=step,
            input=[out[-1].name, node.input[2]] if step == "BiasAdd" else [out[-1].name],
        )
        made.attr["T"].CopyFrom(node.attr["T"])
        out.append(made)
    return out


def read_graph(topology_json: bytes, blob: bytes) -> graph_pb2.GraphDef:
    """The model as a TensorFlow graph of standard operations with its weights inside."""
    model = json.loads(topology_json)
    weights = read_weights(model["weightsManifest"], blob)
    graph = graph_pb2.GraphDef()
    graph.versions.producer = 1882
    for described in model["modelTopology"]["node"]:
        node = node_def_pb2.NodeDef()
        ParseDict(described, node)
        if node.op == "Const":
            node.attr["value"].tensor.CopyFrom(tf.make_tensor_proto(weights[node.name]))
        if node.op == "TopKV2" and "index_type" not in node.attr:
            node.attr["index_type"].type = types_pb2.DT_INT32
        graph.node.extend(split_fused(node))
    return graph


def _input_name(graph: graph_pb2.GraphDef) -> str:
    (name,) = [node.name for node in graph.node if node.op == "Placeholder"]
    return f"{name}:0"


def run_source(
    graph: graph_pb2.GraphDef, outputs: list[str], image: np.ndarray
) -> dict[str, np.ndarray]:
    """Outputs of TensorFlow itself by tensor name."""
    with tf.Graph().as_default():
        tf.import_graph_def(graph, name="")
        with tf.compat.v1.Session() as session:
            values = session.run(outputs, {_input_name(graph): image})
    return dict(zip(outputs, values, strict=True))


def to_onnx(graph: graph_pb2.GraphDef, outputs: list[str]) -> onnx.ModelProto:
    """The graph as ONNX with fp32 weights."""
    model, _ = tf2onnx.convert.from_graph_def(
        graph, input_names=[_input_name(graph)], output_names=outputs, opset=OPSET
    )
    return model
