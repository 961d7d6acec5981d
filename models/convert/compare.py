"""The ONNX file against the source runtime, number by number, on a shipped picture."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import onnxruntime as ort
import tensorflow as tf

from models.convert.fetch import ConversionError
from models.convert.recipes import Recipe
from models.convert.shrink import INPUT_NAME


@dataclass(frozen=True)
class HeadDifference:
    """Largest absolute difference of one head over the trial pictures."""

    head: str
    largest: float
    tolerance: float
    unit: str


def trial_pictures(path: Path, recipe: Recipe) -> list[np.ndarray]:
    """The shipped picture as the model wants it: as it is, mirrored, and darkened.

    Returns
    -------
    list of ndarray, shape (1, H, W, 3)
        dtype and range of the model's input.
    """
    rgb = tf.io.decode_png(path.read_bytes(), channels=3)
    rgb = tf.image.resize(rgb, recipe.trial_size, method="area")
    plain = np.round(rgb.numpy())
    versions = [plain, plain[:, ::-1], np.round(plain * 0.5)]
    if recipe.input_dtype == "int32":
        return [np.ascontiguousarray(v[None], dtype=np.int32) for v in versions]
    return [np.ascontiguousarray(v[None] / 255.0, dtype=np.float32) for v in versions]


def differences(
    recipe: Recipe,
    onnx_bytes: bytes,
    run_source: Callable[[np.ndarray], dict[str, np.ndarray]],
    pictures: list[np.ndarray],
    tolerances: tuple[float, ...],
    gap: Callable[[str, np.ndarray, np.ndarray], float],
) -> list[HeadDifference]:
    """Runs both on all pictures.

    Raises
    ------
    ConversionError
        If any head differs by more than its tolerance, or if the source sees no
        person (then agreement would prove nothing).
    """
    session = ort.InferenceSession(onnx_bytes, providers=["CPUExecutionProvider"])
    largest = {head.name: 0.0 for head in recipe.heads}
    for picture in pictures:
        expected = run_source(picture)
        got = session.run([head.name for head in recipe.heads], {INPUT_NAME: picture})
        for head, values in zip(recipe.heads, got, strict=True):
            found = gap(head.name, values, expected[head.source])
            largest[head.name] = max(largest[head.name], found)
        if best_score(recipe, dict(zip(largest, got, strict=True))) < 0.3:
            raise ConversionError(f"{recipe.name}: the trial picture shows it no person")
    out = [
        HeadDifference(head.name, largest[head.name], tolerance, head.unit)
        for head, tolerance in zip(recipe.heads, tolerances, strict=True)
    ]
    bad = [d for d in out if not d.largest <= d.tolerance]
    if bad:
        raise ConversionError(f"{recipe.name}: differs from the source runtime: {bad}")
    return out


def best_score(recipe: Recipe, outputs: dict[str, np.ndarray]) -> float:
    """How sure the model is that it sees a person, 0..1."""
    if "score" in outputs:
        return float(outputs["score"].squeeze())
    if "people" in outputs:
        return float(outputs["people"][0, :, 55].max())
    return float(outputs["keypoints"][..., 2].mean())
