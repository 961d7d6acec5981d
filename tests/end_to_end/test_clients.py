"""A client generated from the OpenAPI document, against the whole service and real films."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.end_to_end.conftest import Service
from tests.integration.clients.generated import generate, tell

FILMS = Path(__file__).resolve().parents[1] / "data" / "story"


@pytest.mark.slow
@pytest.mark.timeout(900)
def test_generated_client_tells_the_story(service: Service, tmp_path: Path) -> None:
    generate(tmp_path)
    url, key = str(service.client.base_url), service.client.headers["authorization"].split()[1]
    films = (FILMS / "000.mp4", FILMS / "002.mp4")
    told = dict(
        line.split(": ", 1)
        for line in tell(tmp_path, url, key, films, ["blazepose_full"]).splitlines()
    )
    assert told["repetitions"] == "1"
    assert {"trophy", "contact"} <= set(told["events"].split())
    assert int(told["measured"]) > 5
    assert int(told["compared"]) > 5
    assert told["report"] == "True"
    assert told["after erasing"] == "not_found"
