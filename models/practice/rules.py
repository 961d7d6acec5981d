"""Read a practice-rule file: YAML text in, checked rules out, clear errors."""

from __future__ import annotations

from functools import cache, lru_cache
from importlib import resources
from typing import Any

import yaml
from pydantic import ValidationError

from models.contract.errors import InvalidRequest
from models.contract.note_codes import NoteCode, say
from models.contract.plan import PracticeRules
from models.contract.refusals import places_in_words
from models.contract.thresholds import Threshold
from models.practice.bounded_yaml import Bounds, load_bounded
from models.words import english

BOUNDS = Bounds(
    characters=64 * 1024, nodes=5000, depth=12, aliases=100, scalar=2000, expanded=128 * 1024
)
"""Limits of a rule file, about ten times what the shipped one takes (7 kB, 550 nodes, no alias,
122 characters; working values)."""
PLACES_TOLD = 50
"""Wrong places of a file that are named; the rest come up when these are mended."""


@cache
def shipped_text() -> str:
    """Return the text of the shipped rule file."""
    return resources.files("models.practice").joinpath("shipped.yaml").read_text("utf-8")


@cache
def shipped_rules() -> PracticeRules:
    """Return the shipped rules."""
    return parse_rules(shipped_text())


@lru_cache(maxsize=16)
def rules_of(own_text: str | None) -> PracticeRules:
    """Return the shipped rules, with a coach's own merged into them when there are any.

    What was read before is remembered: a plan by the same file costs no second reading.
    """
    return shipped_rules() if own_text is None else merge_rules(shipped_rules(), own_text)


def thresholds_of(rules: PracticeRules) -> tuple[Threshold, ...]:
    """Return what the rules hold values against."""
    return tuple(
        Threshold(
            finding=one.id,
            metrics=tuple(filter(None, (one.metric, one.otherwise))),
            event=one.event,
            is_=one.is_,
            value=one.value,
            unit=one.unit,
            source=one.source,
        )
        for one in rules.findings
    )


def parse_rules(text: str) -> PracticeRules:
    """Return the rules of a YAML text. Raises `InvalidRequest` naming the place and the reason."""
    return _validated(_load(text))


def merge_rules(shipped: PracticeRules, own_text: str) -> PracticeRules:
    """Return the shipped rules with a coach's own findings and drills put in their place.

    The coach's file may hold only what differs: an entry with a shipped ``id`` replaces it, a new
    ``id`` is added; ``remove`` lists ids to leave out.
    """
    own = _load(own_text)
    removed = own.pop("remove", [])
    if not isinstance(removed, list) or not all(isinstance(i, str) for i in removed):
        raise InvalidRequest(say(NoteCode.RULES_REMOVE_FORM))
    base = shipped.model_dump(mode="json", by_alias=True)
    for part in ("findings", "drills"):
        entries = own.get(part, [])
        if not isinstance(entries, list) or not all(
            isinstance(e, dict) and isinstance(e.get("id"), str) for e in entries
        ):
            raise InvalidRequest(say(NoteCode.RULES_PART_FORM, part=part))
        merged = {e["id"]: e for e in [*base[part], *entries]}
        own[part] = [e for i, e in merged.items() if i not in removed]
    return _validated(base | own)


def _load(text: str) -> dict[str, Any]:
    try:
        data = load_bounded(text, BOUNDS)
    except yaml.YAMLError as error:
        mark = getattr(error, "problem_mark", None)
        if mark is None:
            raise InvalidRequest(say(NoteCode.RULES_NO_YAML)) from error
        raise InvalidRequest(say(NoteCode.RULES_NO_YAML_AT, line=mark.line + 1)) from error
    except ValueError as error:  # such as a date that does not exist
        raise InvalidRequest(say(NoteCode.RULES_UNREADABLE)) from error
    except RecursionError as error:
        raise InvalidRequest(say(NoteCode.RULES_NESTED)) from error
    if not isinstance(data, dict):
        raise InvalidRequest(say(NoteCode.RULES_NO_MAPPING))
    return data


def _validated(data: dict[str, Any]) -> PracticeRules:
    try:
        return PracticeRules.model_validate(data)
    except ValidationError as error:
        found = error.errors(include_url=False, include_input=False)[:PLACES_TOLD]
        invalid = tuple(("".join(f"/{part}" for part in e["loc"]) or "/", e) for e in found)
        lines = places_in_words(error, english())[:PLACES_TOLD]
        raise InvalidRequest(
            say(NoteCode.RULES_NOT_VALID, places="; ".join(lines)), invalid=invalid
        ) from error
