"""A ``.tflite`` file: run by its own interpreter, and translated to ONNX."""

from __future__ import annotations

import tempfile
from pathlib import Path

import numpy as np
import onnx
import tensorflow as tf
import tf2onnx.convert

OPSET = 17


def run_source(data: bytes, image: np.ndarray) -> dict[str, np.ndarray]:
    """Outputs of the TensorFlow Lite interpreter (the source runtime) by tensor name.

    Parameters
    ----------
    data : bytes
        The ``.tflite`` file.
    image : ndarray, shape (1, H, W, 3)
        Input in the dtype and range of the model.
    """
    interpreter = tf.lite.Interpreter(model_content=data, num_threads=1)
    interpreter.allocate_tensors()
    interpreter.set_tensor(interpreter.get_input_details()[0]["index"], image)
    interpreter.invoke()
    return {
        detail["name"]: interpreter.get_tensor(detail["index"])
        for detail in interpreter.get_output_details()
    }


def to_onnx(data: bytes) -> onnx.ModelProto:
    """The whole network, all heads, as ONNX with fp32 weights."""
    with tempfile.TemporaryDirectory() as folder:
        source = Path(folder) / "model.tflite"
        source.write_bytes(data)
        model, _ = tf2onnx.convert.from_tflite(str(source), opset=OPSET)
    return model
