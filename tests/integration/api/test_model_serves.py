"""Model serves: marked, listed, held against a player, and no material of a player's own."""

from __future__ import annotations

import httpx

from models.contract.comparison import Comparison
from service.core.wiring import Wiring
from tests.integration.api.coaching import analysed, made, new_clip, new_player, new_session
from tests.integration.api.conftest import assert_problem, complete
from tests.integration.api.test_derived import done


def test_model_is_marked_listed_and_left_out_of_the_players_own(
    client: httpx.Client, wired: Wiring
) -> None:
    player = new_player(client)
    session = new_session(client, player, "baseline", 2)
    own = analysed(client, wired, session, b"own")
    clip = new_clip(client, session, b"model")
    body = {"clip_id": clip, "role": "model"}
    model = made(client.post("/v1/analyses", json=body))
    assert model["role"] == "model"
    complete(wired, model["id"])
    listed = client.get("/v1/analyses", params={"role": "model"}).json()["items"]
    assert [one["id"] for one in listed] == [model["id"]]
    others = client.get("/v1/analyses", params={"role": "player"}).json()["items"]
    assert [one["id"] for one in others] == [own]
    plan = made(client.post(f"/v1/players/{player}/plans", json={}))
    assert plan["analyses"] == [own]
    assert made(client.post(f"/v1/players/{player}/progress", json={}))["analyses"] == [own]
    # Marked as the player's own again, it counts.
    here = f"/v1/analyses/{model['id']}/role"
    assert made(client.put(here, json={"role": "player"}), 200)["role"] == "player"
    plan = made(client.post(f"/v1/players/{player}/plans", json={}))
    assert set(plan["analyses"]) == {own, model["id"]}
    assert_problem(client.put(here, json={"role": "coach"}), 422, "invalid_request")
    gone = "/v1/analyses/ana_" + "0" * 32 + "/role"
    assert_problem(client.put(gone, json={"role": "model"}), 404, "not_found")


def test_player_beside_ones_own_model_and_the_shipped_one(
    client: httpx.Client, wired: Wiring
) -> None:
    own, other = (analysed(client, wired, None, c) for c in (b"own", b"other"))
    made(client.put(f"/v1/analyses/{other}/role", json={"role": "model"}), 200)
    body = {
        "first": {"label": "Lea", "analyses": [own]},
        "second": {"label": "Model", "analyses": [other]},
        "film": False,
        "kind": "throw",  # none to be drawn: the example analyses have no joints
    }
    asked = made(client.post("/v1/comparisons", json=body))
    found = client.get(done(client, wired, asked)["links"]["result"]).content
    document = Comparison.model_validate_json(found)
    assert (document.first.role, document.second.role) == ("player", "model")
    shipped = body | {"second": {"label": "Model", "model": "shipped"}}
    asked = made(client.post("/v1/comparisons", json=shipped))
    assert asked["analyses"] == [own]
    finished = done(client, wired, asked)
    document = Comparison.model_validate_json(client.get(finished["links"]["result"]).content)
    assert document.second.analyses == ("model serve",)
    assert document.second.role == "model"
    assert "Beside a model" in client.get(finished["links"]["report.html"]).text


def test_sides_that_say_nothing_or_both_are_refused(client: httpx.Client, wired: Wiring) -> None:
    own, other = (analysed(client, wired, None, c) for c in (b"own", b"other"))
    made(client.put(f"/v1/analyses/{other}/role", json={"role": "model"}), 200)
    first = {"label": "Lea", "analyses": [own]}
    model = {"label": "Model", "model": "shipped"}
    wrong = [
        (first, {"label": "Model"}),
        (first, model | {"analyses": [other]}),
        (model, model),
        ({"label": "both", "analyses": [own, other]}, model),
        (first, model | {"model": "other"}),
    ]
    for one, two in wrong:
        reply = client.post("/v1/comparisons", json={"first": one, "second": two})
        assert_problem(reply, 422, "invalid_request")
