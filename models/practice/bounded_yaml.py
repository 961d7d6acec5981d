"""YAML of strangers, read within limits that are checked before anything is built of it.

A loader builds what a text says, and aliases let a short text say a great deal. Here the events of
the text are counted first, each alias with all that it stands for; only a text that keeps the
limits is loaded.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import yaml

from models.contract.errors import InvalidRequest
from models.contract.note_codes import NoteCode, say

_LOADER: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
"""The loader in C where the package has it: several times faster, with the same events."""


@dataclass(frozen=True, slots=True)
class Bounds:
    """What a text may hold.

    Attributes
    ----------
    characters : int
        Of the text.
    nodes : int
        Values, lists and mappings, those behind aliases included.
    depth : int
        Lists and mappings within each other.
    aliases : int
        References to something written elsewhere in the text.
    scalar : int
        Characters of one value.
    expanded : int
        Characters of all values, those behind aliases included.
    """

    characters: int
    nodes: int
    depth: int
    aliases: int
    scalar: int
    expanded: int


@dataclass(slots=True)
class _Size:
    nodes: int = 0
    characters: int = 0

    def add(self, other: _Size) -> None:
        self.nodes += other.nodes
        self.characters += other.characters


@dataclass(slots=True)
class _Count:
    """What was counted so far: the open lists and mappings, with the anchors they bear."""

    bounds: Bounds
    total: _Size = field(default_factory=_Size)
    aliases: int = 0
    anchors: dict[str, _Size] = field(default_factory=dict)
    open: list[tuple[str | None, _Size]] = field(default_factory=list)

    def take(self, event: yaml.Event) -> None:
        """Count one event; raise when a limit is passed."""
        bounds = self.bounds
        if isinstance(event, yaml.ScalarEvent):
            _within("scalar", len(event.value), bounds.scalar)
            self._close(event.anchor, _Size(1, len(event.value)))
        elif isinstance(event, yaml.AliasEvent):
            self.aliases += 1
            _within("aliases", self.aliases, bounds.aliases)
            # One that is unknown, or still open, is the loader's to refuse.
            self._close(None, self.anchors.get(event.anchor or "", _Size(1, 0)))
        elif isinstance(event, yaml.CollectionStartEvent):
            self.open.append((event.anchor, _Size(1, 0)))
            _within("depth", len(self.open), bounds.depth)
        elif isinstance(event, yaml.CollectionEndEvent):
            self._close(*self.open.pop())

    def _close(self, anchor: str | None, size: _Size) -> None:
        if anchor is not None:
            self.anchors[anchor] = size
        around = self.open[-1][1] if self.open else self.total
        around.add(size)
        _within("nodes", around.nodes, self.bounds.nodes)
        _within("expanded", around.characters, self.bounds.expanded)


def load_bounded(text: str, bounds: Bounds) -> Any:
    """Return what a YAML text says.

    Raises
    ------
    InvalidRequest
        The text passes a limit, which is named.
    yaml.YAMLError, ValueError
        It is no YAML, or holds a value that does not exist.
    """
    _within("characters", len(text), bounds.characters)
    count = _Count(bounds)
    for event in yaml.parse(text, Loader=_LOADER):
        count.take(event)
    return yaml.load(text, Loader=_LOADER)


def _within(what: str, found: int, most: int) -> None:
    if found > most:
        raise InvalidRequest(say(NoteCode.RULES_TOO_LARGE, what=what, most=most))
