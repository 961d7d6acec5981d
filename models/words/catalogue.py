"""Reads the catalogue of a language: its TOML files, and the words of the metric definitions."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from typing import Any

from models.words.metrics import metric_entries
from models.words.words import Words

DEFAULT = "en"
LANGUAGES = (DEFAULT, "de")
"""BCP 47 tags of the shipped languages, the default first; each is a folder here."""


@cache
def catalogue(language: str) -> Words:
    """Return the words of a shipped language.

    Raises
    ------
    KeyError
        There is no such language.
    """
    if language not in LANGUAGES:
        raise KeyError(f"there is no catalogue of {language!r}; shipped are {LANGUAGES}")
    entries: dict[str, Any] = {}
    for file in sorted((files("models.words") / language).iterdir(), key=lambda f: f.name):
        if file.name.endswith(".toml"):
            _add(entries, tomllib.loads(file.read_text("utf-8")), file.name)
    _add(entries, metric_entries(language), "the metric definitions")
    return Words(entries)


def english() -> Words:
    """Return the words of the default language."""
    return catalogue(DEFAULT)


def _add(entries: dict[str, Any], more: Mapping[str, Any], file: str) -> None:
    for key, value in more.items():
        if key not in entries:
            entries[key] = value
        elif isinstance(value, Mapping) and isinstance(entries[key], dict):
            _add(entries[key], value, file)
        else:
            raise ValueError(f"{file} defines {key!r} again")
