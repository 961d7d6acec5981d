"""The lift as ONNX Runtime runs it: on the CPU, in double precision."""

from __future__ import annotations

from typing import Any

import numpy as np
import onnxruntime as ort

from models.contract.tracks import FloatArray
from workers.engine.learned import LiftNetwork


def lift_network(data: bytes) -> LiftNetwork:
    """Return the network in an ONNX file: features (T, 399) to answers (T, 69), float64."""
    options = ort.SessionOptions()
    options.intra_op_num_threads = options.inter_op_num_threads = 1
    session: Any = ort.InferenceSession(data, options, providers=["CPUExecutionProvider"])
    (features,) = [value.name for value in session.get_inputs()]
    (answer,) = [value.name for value in session.get_outputs()]

    def run(read: FloatArray) -> FloatArray:
        values = session.run([answer], {features: np.ascontiguousarray(read, np.float64)})
        return np.asarray(values[0])

    return run
