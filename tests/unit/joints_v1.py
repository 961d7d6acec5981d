"""Documents of joints as version 1 stored them."""

from __future__ import annotations

import json

from models.contract.skeleton import ANATOMICAL_BODY


def as_version_1(document: bytes | str) -> bytes:
    """Return a joints document of now as version 1 would have written it."""
    content = json.loads(document)
    content["schema"] = content["schema"].replace("joints.v2", "joints.v1")
    for body in content["bodies"]:
        body["names"] = list(ANATOMICAL_BODY)
    return json.dumps(content).encode()
