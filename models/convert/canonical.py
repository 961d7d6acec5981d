"""One order and one set of names, so that every conversion gives the same bytes.

The translator names tensors by counters and random suffixes and orders nodes by
sets. Here nodes are put in the order in which a walk back from the outputs first
completes them, and tensors are numbered along that order.
"""

from __future__ import annotations

import onnx


def _ordered(graph: onnx.GraphProto) -> list[onnx.NodeProto]:
    maker = {name: node for node in graph.node for name in node.output if name}
    done: set[str] = set()
    order: list[onnx.NodeProto] = []
    stack: list[tuple[onnx.NodeProto, bool]] = [
        (maker[value.name], False) for value in reversed(graph.output)
    ]
    while stack:
        node, inputs_done = stack.pop()
        if node.output[0] in done:
            continue
        if inputs_done:
            done.add(node.output[0])
            order.append(node)
            continue
        stack.append((node, True))
        stack.extend((maker[name], False) for name in reversed(node.input) if name in maker)
    return order


def canonical(model: onnx.ModelProto) -> onnx.ModelProto:
    """The same network with nodes, weights and inner names in a fixed order."""
    out = onnx.ModelProto()
    out.CopyFrom(model)
    graph = out.graph
    order = _ordered(graph)
    fixed = {value.name for value in (*graph.input, *graph.output)} | {""}
    names = {name: name for name in fixed}
    weights = {tensor.name: tensor for tensor in graph.initializer}
    kept: list[onnx.TensorProto] = []
    for position, node in enumerate(order):
        for name in node.input:
            if name not in names and name in weights:
                names[name] = f"w{len(kept)}"
                tensor = onnx.TensorProto()
                tensor.CopyFrom(weights[name])
                tensor.name = names[name]
                kept.append(tensor)
        for name in node.output:
            names.setdefault(name, f"t{len(names)}")
        node.input[:] = [names[name] for name in node.input]
        node.output[:] = [names[name] for name in node.output]
        node.name = f"n{position}"
        attributes = sorted(node.attribute, key=lambda a: a.name)
        del node.attribute[:]
        node.attribute.extend(attributes)
    nodes = [onnx.NodeProto.FromString(node.SerializeToString()) for node in order]
    del graph.node[:]
    graph.node.extend(nodes)
    del graph.initializer[:]
    graph.initializer.extend(kept)
    onnx.checker.check_model(out, full_check=True)
    return out
