"""What a coach adds to pages by HTTP: a voice message and the look of the club."""

from __future__ import annotations

import io
import json
import zipfile

import httpx
import pytest
from PIL import Image

from service.core.wiring import Wiring
from tests.integration.api.coaching import analysed, made, new_player, new_session
from tests.integration.api.conftest import assert_problem
from tests.integration.api.test_derived import done
from tests.unit.report.test_in_browser import spoken

SOUND = {"content-type": "audio/wav"}


def _send(client: httpx.Client, player: str, **more: str) -> httpx.Response:
    here = f"/v1/players/{player}/voices"
    return client.post(here, content=spoken(), headers=SOUND | more)


def _logo(size: tuple[int, int] = (120, 40), kind: str = "PNG") -> bytes:
    file = io.BytesIO()
    Image.new("RGB", size, (20, 90, 50)).save(file, kind)
    return file.getvalue()


def test_a_voice_is_kept_played_exported_and_erased_with_the_player(
    client: httpx.Client, wired: Wiring
) -> None:
    player = new_player(client)
    voice = made(_send(client, player))
    assert voice["media_type"] == "audio/wav"
    assert client.get(voice["links"]["content"]).content == spoken()
    part = client.get(voice["links"]["content"], headers={"range": "bytes=0-3"})
    assert (part.status_code, part.content) == (206, b"RIFF")
    assert client.get(f"/v1/players/{player}/voices").json()["items"] == [voice]
    analysed(client, wired, new_session(client, player, "baseline", 2))
    plans = f"/v1/players/{player}/plans"
    plan = done(client, wired, made(client.post(plans, json={"voice_id": voice["id"]})))
    page = client.get(plan["links"]["report.html"])
    assert 'src="data:audio/wav;base64,' in page.text
    assert "media-src data:" in page.headers["content-security-policy"]
    archive = client.get(f"/v1/players/{player}/export").content
    with zipfile.ZipFile(io.BytesIO(archive)) as found:
        assert found.read(f"voices/{voice['id']}.wav") == spoken()
        assert [row["id"] for row in json.loads(found.read("voices.json"))] == [voice["id"]]
    assert list(wired.objects.list("voices"))
    erased = client.delete(f"/v1/players/{player}")
    assert erased.status_code == 202
    assert list(wired.objects.list("voices")) == []
    assert_problem(client.get(voice["links"]["self"]), 404, "not_found")


def test_a_voice_for_somebody_else_or_none_is_refused(client: httpx.Client, wired: Wiring) -> None:
    player, other = new_player(client), new_player(client, "member-2")
    analysed(client, wired, new_session(client, player, "baseline", 2))
    voice = made(_send(client, other))["id"]
    for kind in ("plans", "progress"):
        here = f"/v1/players/{player}/{kind}"
        assert_problem(client.post(here, json={"voice_id": voice}), 422, "invalid_request")
        gone = {"voice_id": "voc_" + "0" * 32}
        assert_problem(client.post(here, json=gone), 404, "not_found")
    film = client.post(f"/v1/players/{player}/voices", content=b"\0" * 900, headers=SOUND)
    assert_problem(film, 415, "unsupported_media_type")
    large = bytes(3 * 1024 * 1024 + 1)
    reply = client.post(f"/v1/players/{player}/voices", content=large, headers=SOUND)
    assert_problem(reply, 413, "payload_too_large")
    assert len(list(wired.objects.list("voices"))) == 1


def test_the_same_key_stores_a_voice_once_and_a_removed_one_fails_what_waits(
    client: httpx.Client, wired: Wiring
) -> None:
    player = new_player(client)
    session = new_session(client, player, "baseline", 2)
    analysed(client, wired, session)
    first, again = (_send(client, player, **{"idempotency-key": "v"}) for _ in range(2))
    assert first.json() == again.json()
    assert len(list(wired.objects.list("voices"))) == 1
    voice = first.json()
    asked = made(client.post(f"/v1/players/{player}/plans", json={"voice_id": voice["id"]}))
    assert client.delete(voice["links"]["self"]).status_code == 204
    assert list(wired.objects.list("voices")) == []
    with pytest.raises(AssertionError, match="voice message was removed"):
        done(client, wired, asked)


def test_pages_in_the_look_of_the_club(client: httpx.Client, wired: Wiring) -> None:
    as_shipped = made(client.get("/v1/branding"), 200)
    assert (as_shipped["name"], as_shipped["colour"]) == (None, None)
    assert_problem(client.get("/v1/branding/logo"), 404, "not_found")
    assert_problem(client.put("/v1/branding/logo", content=_logo()), 404, "not_found")
    pale = client.put("/v1/branding", json={"name": "Green Club", "colour": "#9be7b0"})
    assert_problem(pale, 422, "invalid_request")
    assert "or darker" in pale.json()["detail"]
    assert made(client.get("/v1/branding"), 200) == as_shipped  # nothing was kept
    body = {"name": "Green <Club>", "colour": "#1d6b3c"}
    shown = made(client.put("/v1/branding", json=body), 200)
    assert shown["contrast"] > 4.5
    assert shown["logo"] is None
    player = new_player(client)
    analysed(client, wired, new_session(client, player, "baseline", 2))

    def page() -> str:
        plan = done(client, wired, made(client.post(f"/v1/players/{player}/plans", json={})))
        return client.get(plan["links"]["report.html"]).text

    named = page()
    assert "Green &lt;Club&gt;" in named
    assert "--accent:#1d6b3c" in named
    for wrong in (b"<svg xmlns='http://www.w3.org/2000/svg'/>", _logo()[:60], b""):
        refused = client.put("/v1/branding/logo", content=wrong)
        assert_problem(refused, 415, "unsupported_media_type")
    refused = client.put("/v1/branding/logo", content=_logo((2001, 4)))
    assert_problem(refused, 422, "invalid_request")
    assert made(client.put("/v1/branding/logo", content=_logo()), 200)["logo"] == "image/png"
    reply = client.get("/v1/branding/logo")
    assert reply.content == _logo()
    same = {"if-none-match": reply.headers["etag"]}
    assert client.get("/v1/branding/logo", headers=same).status_code == 304
    assert 'alt="Green &lt;Club&gt;"' in page()
    for _ in range(2):
        assert client.delete("/v1/branding").status_code == 204
    assert "Green" not in page()
