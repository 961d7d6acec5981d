"""The lift as ONNX Runtime runs it: on one core of the CPU."""

from __future__ import annotations

from typing import Any

import numpy as np
import onnxruntime as ort

from models.contract.tracks import FloatArray
from workers.engine.learned import LiftNetwork


def lift_network(data: bytes) -> LiftNetwork:
    """Return the network in an ONNX file: features (N, F) to answers (N, A), float64 outside."""
    options = ort.SessionOptions()
    options.intra_op_num_threads = options.inter_op_num_threads = 1
    session: Any = ort.InferenceSession(data, options, providers=["CPUExecutionProvider"])
    (features,) = [value.name for value in session.get_inputs()]
    (answer,) = [value.name for value in session.get_outputs()]

    def run(read: FloatArray) -> FloatArray:
        values = session.run([answer], {features: np.ascontiguousarray(read, np.float32)})
        return np.asarray(values[0], dtype=np.float64)

    return run
