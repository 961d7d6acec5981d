"""Generated requests against the description: nothing crashes, nothing contradicts it.

Right and wrong requests are generated from the OpenAPI document for each operation; the answers
are judged by the general-purpose checks of schemathesis.
"""

from __future__ import annotations

import json
import secrets
import warnings
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st

from service.api.app import create_app
from service.api.describe import COMMITTED
from service.core.database import migrate
from service.core.settings import Settings
from tests.integration.api.conftest import film
from tests.integration.api.tus_client import PART
from tests.unit.report.test_in_browser import spoken

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import schemathesis
    from schemathesis import GenerationMode
    from schemathesis.checks import CHECKS, load_all_checks

load_all_checks()
(positive_data_acceptance,) = CHECKS.get_by_names(["positive_data_acceptance"])

FILMS = st.binary(max_size=200).map(film)
MEDIA = ("video/mp4", "video/quicktime", "application/octet-stream", PART)
for media_type in MEDIA:
    schemathesis.openapi.media_type(media_type, FILMS)
SOUND = ("audio/mp4", "audio/webm", "audio/ogg", "audio/mpeg", "audio/wav")
OTHERS = st.one_of(st.just(spoken()), st.binary(max_size=200))
for media_type in (*SOUND, "image/png", "image/jpeg"):
    schemathesis.openapi.media_type(media_type, OTHERS)
RULES = st.one_of(st.sampled_from(["name: mine\n", "name: two\nremove: [hold]\n"]), st.text())
schemathesis.openapi.media_type("application/yaml", RULES.map(str.encode))


@pytest.fixture(scope="module")
def description(tmp_path_factory: pytest.TempPathFactory, redis_server_url: str) -> Iterator[Any]:
    """Return the description of an API that holds a clip and a completed analysis."""
    settings = Settings(
        data_dir=tmp_path_factory.mktemp("api"),
        redis_url=redis_server_url,
        queue_name=f"test-{secrets.token_hex(6)}",
        background=False,
    )
    migrate(settings)
    app = create_app(settings)
    wired = app.state.wiring
    key = wired.keys.add("generated requests")
    loaded = schemathesis.openapi.from_asgi("/openapi.json", app)

    @loaded.auth()
    class Bearer:
        def get(self, case: Any, context: Any) -> str:
            return key

        def set(self, case: Any, data: str, context: Any) -> None:
            case.headers["authorization"] = f"Bearer {data}"

    yield loaded
    wired.close()


OPERATIONS = sorted(
    operation["operationId"]
    for item in json.loads(COMMITTED.read_text("utf-8"))["paths"].values()
    for operation in item.values()
)
NOTHING_TO_GET_WRONG = {"alive", "ready"}
MAY_REFUSE_WHAT_FITS = {
    "send_clip": "bytes that are no film",
    "send_joints": "bytes and options of no form",
    "create_upload": "metadata that nobody wrote",
    "create_webhook_endpoint": "addresses that are not public",
    "change_webhook_endpoint": "addresses that are not public",
    "announce_clip": "options that are for files of joints alone",
    "announce_film_parts": "options that are for files of joints alone",
    "create_intake_link": "options that are for files of joints alone",
    "list_all_work": "cursors that were not given out",
    "list_erasures": "cursors that were not given out",
    "list_organisations": "cursors that were not given out",
    "list_webhook_deliveries": "cursors that were not given out",
    "replay_webhook_events": "neither an event nor a span of time",
    "list_analyses": "cursors that were not given out",
    "list_intake_links": "cursors that were not given out",
    "list_share_links": "cursors that were not given out",
    "list_consents": "cursors that were not given out",
    "list_audit_entries": "cursors that were not given out",
    "list_player_consents": "cursors that were not given out",
    "record_consent": "times in which nobody agreed",
    "list_clips": "cursors that were not given out",
    "list_webhook_endpoints": "cursors that were not given out",
    "list_players": "cursors that were not given out",
    "list_sessions": "cursors that were not given out",
    "list_comparisons": "cursors that were not given out",
    "list_progress": "cursors that were not given out",
    "list_plans": "cursors that were not given out",
    "list_drill_checks": "cursors that were not given out",
    "list_practice_rules": "cursors that were not given out",
    "create_session": "years in which nobody filmed",
    "change_session": "years in which nobody filmed",
    "list_voices": "cursors that were not given out",
    "send_voice": "bytes that are no sound",
    "put_logo": "bytes that are no picture",
    "put_branding": "colours that cannot be read",
    "put_annotations": "angles without arms",
    "send_practice_rules": "text that is no rule file",
}


@pytest.mark.parametrize("mode", [GenerationMode.POSITIVE, GenerationMode.NEGATIVE])
@pytest.mark.parametrize("name", OPERATIONS)
def test_generated_requests(description: Any, name: str, mode: Any) -> None:
    if mode == GenerationMode.NEGATIVE and name in NOTHING_TO_GET_WRONG:
        return
    excluded = [positive_data_acceptance] if name in MAY_REFUSE_WHAT_FITS else []
    operation = description.find_operation_by_id(name)

    @hypothesis_settings(
        max_examples=8,
        deadline=None,
        derandomize=True,
        database=None,
        phases=[Phase.explicit, Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(case=operation.as_strategy(generation_mode=mode))
    def check(case: Any) -> None:
        for header in [name for name in case.headers or {} if name.lower() == "idempotency-key"]:
            if mode == GenerationMode.POSITIVE:  # a key of another request is rightly refused
                case.headers[header] = secrets.token_hex(8)
        for header in [name for name in case.headers or {} if name.lower() == "if-match"]:
            if mode == GenerationMode.POSITIVE:  # a made-up state is rightly not the present one
                del case.headers[header]
        for header in [name for name in case.headers or {} if name.lower() == "tus-resumable"]:
            case.headers[header] = "1.0.0"  # another version is rightly refused before all else
        case.call_and_validate(excluded_checks=excluded)

    check()
