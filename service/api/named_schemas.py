"""Names for shapes that stand in many places of the OpenAPI document without one.

Code generators make a type of each object and each list of values that has no name, called after
the place where it stands: eighteen types for one map of links, and some of them called as another
type is.
"""

from __future__ import annotations

from typing import Any

PREFIX = "#/components/schemas/"
_SAID_OF_THE_PLACE = ("description", "default", "examples")
PLACES: dict[str, tuple[str, str]] = {
    "ClipState": ("ClipResource/properties/state", "Whether a film is in."),
    "ConsentGiver": (
        "ConsentRequest/properties/given_by",
        "Who agrees: the player, of age, or a parent or guardian.",
    ),
    "DeliveryState": (
        "DeliveryResource/properties/state",
        "Where the sending of an event stands.",
    ),
    "EventType": ("WebhookEvent/properties/type", "What an event tells of."),
    "EventsByName": ("Repetition/properties/events", "The events of a repetition."),
    "IntakeLinkState": (
        "IntakeLinkResource/properties/state",
        "Whether films may come through a link.",
    ),
    "MetricKey": ("Criterion/properties/metric", "Names a metric."),
    "MetricAtEvent": (
        "ComparisonRequest/properties/focus/items",
        "Names a metric, and after @ the event at which it is read.",
    ),
    "ParametersByName": ("Note/properties/parameters", "What a sentence names."),
    "Relation": ("Criterion/properties/is", "At least, or at most."),
    "SharedFile": (
        "ShareLinkRequest/properties/files/items",
        "A file that can be read through a link; clip is the film itself.",
    ),
    "ShareLinkState": (
        "ShareLinkResource/properties/state",
        "Whether files may be read through a link.",
    ),
    "TextByName": ("ClipResource/properties/links", "Texts by name: links, form fields, headers."),
    "ValueByName": ("AnalysisResource/properties/headline", "Values of any kind by name."),
    "ValueSource": (
        "Analysis/properties/handedness_source",
        "Whether a value was given, estimated from the film, or is not known.",
    ),
}
"""By name: below which schema the shape is found, and what it is in general."""


def shape(schema: dict[str, Any]) -> dict[str, Any]:
    """Return what a schema admits, without what is said of the place where it stands."""
    return {key: schema[key] for key in schema if key not in ("title", *_SAID_OF_THE_PLACE)}


def name_shapes(spec: dict[str, Any]) -> None:
    """Give shapes their names, and refer to them wherever they stand."""
    schemas: dict[str, Any] = spec["components"]["schemas"]
    names = {}
    for name, (place, description) in PLACES.items():
        found: Any = schemas
        for step in place.split("/"):
            found = found[step]
        if name in schemas:
            raise ValueError(f"two schemas are called {name}")
        names[name] = shape(found) | {"title": name, "description": description}
    wanted = [(shape(schema), PREFIX + name) for name, schema in names.items()]
    for node in (schemas, spec["paths"], spec.get("webhooks", {})):
        for key, value in node.items():
            node[key] = _referring(value, wanted)
    for name, schema in names.items():
        schemas[name] = {key: _referring(value, wanted) for key, value in schema.items()}


def _referring(node: Any, wanted: list[tuple[dict[str, Any], str]]) -> Any:
    if isinstance(node, list):
        return [_referring(one, wanted) for one in node]
    if not isinstance(node, dict):
        return node
    mine = shape(node)
    for known, address in wanted:
        if mine == known:
            return {"$ref": address} | {k: node[k] for k in _SAID_OF_THE_PLACE if k in node}
    return {
        key: value if key == "examples" else _referring(value, wanted)
        for key, value in node.items()
    }
