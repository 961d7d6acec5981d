"""What the models of requests and files refuse, beyond types and ranges: codes with words."""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum
from typing import Any

from pydantic import ValidationError
from pydantic_core import PydanticCustomError

from models.words import Words, english


class Refusal(StrEnum):
    """Why a value is not valid. The words are in the catalogue, under ``field``."""

    YEAR_OUT_OF_RANGE = "year_out_of_range"
    MATERIAL_MISSING = "material_missing"
    MODEL_AND_MATERIAL = "model_and_material"
    STEP_MISSING = "step_missing"
    EVENT_OR_RANGE = "event_or_range"
    EVENT_ALONE = "event_alone"
    RANGE_REVERSED = "range_reversed"
    METRIC_UNKNOWN = "metric_unknown"
    EVENT_NOT_OF_METRIC = "event_not_of_metric"
    METRIC_WITHOUT_EVENT = "metric_without_event"
    UNIT_NOT_OF_METRIC = "unit_not_of_metric"
    DRILL_IDS_REPEATED = "drill_ids_repeated"
    FINDING_IDS_REPEATED = "finding_ids_repeated"
    DRILL_NOT_DEFINED = "drill_not_defined"
    DIRECTION_WITHOUT_LENGTH = "direction_without_length"
    ANGLE_WITHOUT_ARMS = "angle_without_arms"
    RULES_ON_ARRIVAL = "rules_on_arrival"
    OPTIONS_OF_JOINTS = "options_of_joints"


def refused(why: Refusal, **parameters: str | int) -> PydanticCustomError:
    """Return the error a validator raises; pydantic adds the place."""
    said = english()(f"field.{why.value}", **parameters)
    return PydanticCustomError(why.value, "{said}", {"said": said, **parameters})


def field_words(words: Words, found: Mapping[str, Any]) -> str:
    """Say an error of pydantic (an item of ``errors()``) for people.

    The validator's own words are written for programmers and name Python's types; they are shown
    nowhere.
    """
    entry = f"field.{found['type']}"
    known = words.find(entry) is not None
    return words(entry if known else "field.other", **found.get("ctx", {}))


def places_in_words(error: ValidationError, words: Words) -> list[str]:
    """Return one line a place that is not valid: where, and why."""
    return [
        f"{'.'.join(str(part) for part in found['loc']) or 'file'}: {field_words(words, found)}"
        for found in error.errors(include_url=False, include_input=False)
    ]
