"""What a rule or a focus may name, and what is said of other names."""

from __future__ import annotations

import pytest
from pydantic import TypeAdapter, ValidationError

from models.contract.metric_names import KnownKey, KnownName
from models.contract.metrics.catalogue import CATALOGUE
from models.contract.metrics.definition import metric_name
from models.contract.plan import Criterion
from models.contract.vocabulary import EventName


def test_a_name_is_a_key_or_a_key_at_one_of_its_events() -> None:
    assert set(CATALOGUE.keys) <= set(CATALOGUE.names)
    assert len(set(CATALOGUE.names)) == len(CATALOGUE.names)
    names = TypeAdapter(KnownName)
    assert names.validate_python("elbow_flexion") == "elbow_flexion"
    at_contact = metric_name("elbow_flexion", EventName.CONTACT)
    assert names.validate_python(at_contact) == "elbow_flexion@contact"
    assert names.json_schema() == {"type": "string", "enum": list(CATALOGUE.names)}


@pytest.mark.parametrize("name", ["elbow_flexon", "elbow_flexion@set_up", "", "tempo@contact"])
def test_another_name_is_refused(name: str) -> None:
    with pytest.raises(ValidationError, match="There is no such metric"):
        TypeAdapter(KnownName).validate_python(name)


def test_the_nearest_names_are_told() -> None:
    with pytest.raises(ValidationError, match="Near to it: elbow_flexion"):
        TypeAdapter(KnownKey).validate_python("elbow_flexon")


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"event": "trophy"}, "is not taken at that event. It is taken at: loading"),
        ({"unit": "%"}, "is in 1, not in another unit"),
        ({"metric": "tempo", "unit": "s"}, "Leave the event out"),
    ],
)
def test_a_criterion_that_could_never_be_met_is_refused(wrong: dict[str, str], said: str) -> None:
    right = {
        "metric": "rear_foot_load_share", "event": "loading", "is": ">=", "value": 0.6,
        "unit": "1", "repetitions": 3,
    }  # fmt: skip
    assert Criterion.model_validate(right).metric == "rear_foot_load_share"
    with pytest.raises(ValidationError, match=said):
        Criterion.model_validate(right | wrong)
