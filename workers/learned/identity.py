"""The engine's identity: a digest that changes whenever the engine could give other numbers.

It covers the code of the engine and the definitions of the metrics, without comments, docstrings,
layout and what only words, pages and tests need, and every learned file. Two results of one
identity were made by the same engine; the versions of numpy, scipy and ONNX Runtime are not in it,
as they agree to rounding.
"""

from __future__ import annotations

import ast
import hashlib
from collections.abc import Iterator, Mapping
from importlib.resources import files
from importlib.resources.abc import Traversable

COVERED = ("workers.engine", "models.contract.metrics")
"""Packages whose code decides the numbers."""
SAID = frozenset(
    {
        *("wording", "greater", "reference", "usual", "rank", "part", "headline", "drawn", "aim"),
        *("truth", "no_truth", "no_calibration"),
    }
)
"""Fields of a metric's definition that no value depends on: a better word is no other engine."""


def code_digest(packages: tuple[str, ...] = COVERED) -> str:
    """Return the SHA-256 of the code of some packages, hexadecimal; names and order are fixed."""
    digest = hashlib.sha256()
    for package in packages:
        for name, module in sorted(_modules(files(package), package)):
            digest.update(f"{name}\n{code_of(module.read_text('utf-8'))}\n".encode())
    return digest.hexdigest()


def engine_identity(code: str, learned: Mapping[str, str]) -> str:
    """Return the SHA-256 over the code's digest and those of the learned files by name."""
    lines = [f"code {code}", *(f"{name} {digest}" for name, digest in sorted(learned.items()))]
    return hashlib.sha256("\n".join(lines).encode()).hexdigest()


def code_of(source: str) -> str:
    """Return what a module says, without comments, docstrings and layout.

    Keyword arguments of `SAID` are left out. The same in every version of Python that reads it:
    empty fields, which later versions add to the syntax tree, are left out.
    """
    return _text(ast.parse(source))


def _text(value: object) -> str:
    if isinstance(value, ast.AST):
        parts = [
            f"{name}={_text(part)}"
            for name, part in ast.iter_fields(value)
            if part is not None and part != [] and name not in ("ctx", "kind")
        ]
        return f"{type(value).__name__}({','.join(parts)})"
    if isinstance(value, list):
        kept = [item for item in value if not (_is_bare_text(item) or _is_said(item))]
        return f"[{','.join(_text(item) for item in kept)}]"
    return repr(value)


def _is_said(node: object) -> bool:
    return isinstance(node, ast.keyword) and node.arg in SAID


def _is_bare_text(node: object) -> bool:
    """Tell whether a statement is a string alone: a docstring, which does nothing."""
    return (
        isinstance(node, ast.Expr)
        and isinstance(node.value, ast.Constant)
        and isinstance(node.value.value, str)
    )


def _modules(folder: Traversable, package: str) -> Iterator[tuple[str, Traversable]]:
    for item in folder.iterdir():
        if item.is_dir() and item.name != "__pycache__":
            yield from _modules(item, f"{package}.{item.name}")
        elif item.name.endswith(".py"):
            yield f"{package}.{item.name}", item
