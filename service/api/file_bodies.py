"""How files stand in the OpenAPI document: what is sent and what is fetched."""

from __future__ import annotations

from typing import Any

from service.core.joint_files import JOINT_TYPES, JSON

FILM_FORM: dict[str, Any] = {
    "title": "FilmForm",
    "description": "A film with what belongs to it.",
    "type": "object",
    "required": ["file"],
    "additionalProperties": False,
    "properties": {
        "file": {
            "type": "string",
            "format": "binary",
            "contentMediaType": "video/mp4",
            "description": "The film: MP4, QuickTime, Matroska or WebM.",
        },
        "sha256": {
            "type": "string",
            "pattern": "^[0-9a-f]{64}$",
            "description": "Digest of the file, to be checked.",
        },
        "external_ref": {
            "type": "string",
            "minLength": 1,
            "maxLength": 200,
            "description": "Your own reference. No names of people.",
        },
        "session_id": {
            "type": "string",
            "pattern": "^ses_[0-9a-f]{32}$",
            "description": "Session it was filmed in; erased with it.",
        },
        "analyse": {
            "type": "string",
            "description": "`true`, or analysis options as JSON: start an analysis when the film "
            "is in. `links` then has it.",
        },
    },
}
JOINTS_FORM: dict[str, Any] = {
    "title": "JointsForm",
    "description": "A file of joints with what belongs to it.",
    "type": "object",
    "required": ["file"],
    "additionalProperties": False,
    "properties": {
        "file": {
            "type": "string",
            "format": "binary",
            "contentMediaType": "application/octet-stream",
            "description": "Joints per frame: a JSON document (joints.v2.json, joints.v1.json), "
            "npz (`servewright-motion-1`, or a `joints.npz` of a result) or C3D.",
        },
        "sha256": FILM_FORM["properties"]["sha256"],
        "external_ref": FILM_FORM["properties"]["external_ref"],
        "session_id": {
            "type": "string",
            "pattern": "^ses_[0-9a-f]{32}$",
            "description": "Session it was recorded in; erased with it.",
        },
        "options": {
            "type": "string",
            "description": "Analysis options as JSON; height, hand, sex and drill that are left "
            "out come from the player of the session.",
        },
    },
}
ANY_JSON = {"type": "object", "additionalProperties": True}
"""A document that is judged where it is read, by a worker."""
YAML = "application/yaml"
"""RFC 9512."""
SCHEMAS = {"FilmForm": FILM_FORM, "JointsForm": JOINTS_FORM}
"""Schemas of bodies that the framework does not see, by name."""


def file_schema(media_type: str) -> dict[str, Any]:
    """Return the schema of a file.

    OpenAPI 3.1 says ``contentMediaType``; code generators go by ``format: binary``, which was the
    word of OpenAPI 3.0 and which 3.1 lets stand beside it. What YAML says has a type of its own.
    """
    if media_type.startswith("text/"):
        return {"type": "string"}
    schema = {"format": "binary", "contentMediaType": media_type}
    return schema if media_type == YAML else {"type": "string"} | schema


def film_body() -> dict[str, Any]:
    """Return the body of an upload: a form, or the film itself."""
    content: dict[str, Any] = {
        "multipart/form-data": {"schema": {"$ref": "#/components/schemas/FilmForm"}}
    }
    for kind in ("video/mp4", "video/quicktime", "application/octet-stream"):
        content[kind] = {"schema": file_schema(kind)}
    return {"requestBody": {"required": True, "content": content}}


def joints_body() -> dict[str, Any]:
    """Return the body that brings joints: a form, or the file itself."""
    content: dict[str, Any] = {
        "multipart/form-data": {"schema": {"$ref": "#/components/schemas/JointsForm"}}
    }
    for kind in JOINT_TYPES:
        is_json = kind == JSON
        content[kind] = {"schema": ANY_JSON if is_json else file_schema(kind)}
    return {"requestBody": {"required": True, "content": content}}
