"""Two films of one serve over HTTP: asked for, measured, refused, filed, kept, erased, exported."""

from __future__ import annotations

import io
import json
import zipfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import httpx
import pytest
from sqlalchemy import select

from models.contract.errors import CodecNotSupported, FilmsNoPair
from models.contract.note_codes import NoteCode, say
from models.contract.tracks import JointTrack
from models.contract.views import SecondView
from models.contract.vocabulary import WorkKind
from models.contract.webhook import WebhookEvent
from models.training.guard import frozen
from service.core.principal import Scope
from service.core.queue import attempt_at
from service.core.tables import OutboxEvent, Work
from service.core.wiring import Wiring
from tests.integration.api.coaching import made, new_clip, new_player, new_session
from tests.integration.api.conftest import assert_problem, complete
from tests.unit.jobs.analysing import always, work
from tests.unit.pipeline.fakes import FakeClip, engine, stages
from workers.engine.interface import EngineRequest, EngineResult
from workers.jobs import entry

SECOND = SecondView(
    offset_s=0.5,
    offset_low=0.49,
    offset_high=0.51,
    apart_deg=-80.0,
    apart_low=-85.0,
    apart_high=-75.0,
    synchronised_by="movement",
)


@dataclass
class TwoFilms:
    """A session with both films of a serve."""

    player: str
    session: str
    one: str
    two: str

    @property
    def body(self) -> dict[str, Any]:
        return {"clip_id": self.one, "same_serve": self.two}


@pytest.fixture
def films(client: httpx.Client) -> TwoFilms:
    player = new_player(client)
    session = new_session(client, player, "baseline", 1)
    return TwoFilms(player, session, *(new_clip(client, session, bytes([n])) for n in (1, 2)))


def measured(_one: JointTrack, _two: JointTrack, request: EngineRequest) -> EngineResult:
    return engine(second=SECOND)(_one, request)


def run(wired: Wiring, analysis: str, **chosen: Any) -> None:
    work(wired, analysis, 1, always(stages(FakeClip(), **{"measure_pair": measured} | chosen)))


def start(client: httpx.Client, films: TwoFilms) -> str:
    return str(made(client.post("/v1/analyses", json=films.body))["id"])


def file_under(client: httpx.Client, clip: str, session: str) -> None:
    moved = client.patch(
        f"/v1/clips/{clip}",
        json={"session_id": session},
        headers={
            "content-type": "application/merge-patch+json",
            "if-match": client.get(f"/v1/clips/{clip}").headers["etag"],
        },
    )
    assert moved.status_code == 200, moved.text


def test_the_result_names_both_films(client: httpx.Client, wired: Wiring, films: TwoFilms) -> None:
    analysis = start(client, films)
    run(wired, analysis)
    body = client.get(f"/v1/analyses/{analysis}").json()
    assert body["status"] == "completed", body["problem"]
    assert (body["clip_id"], body["same_serve"]) == (films.one, films.two)
    assert body["links"]["same_serve"] == f"/v1/clips/{films.two}"
    told = client.get(body["links"]["result"]).json()["second_view"]
    assert told["apart_deg"] == -80.0
    assert told["clip"]["sha256"] == client.get(f"/v1/clips/{films.two}").json()["sha256"]
    second = JointTrack.from_npz(client.get(body["links"]["joints.same_serve.npz"]).content)
    assert len(second) == 10
    with wired.database.read() as session:
        bodies = session.scalars(select(OutboxEvent.body)).all()
    data = {e.type: e.data for e in map(WebhookEvent.model_validate_json, bodies)}
    assert data["analysis.completed"].same_serve == films.two
    # The second film was analysed too: it has nothing of its own to wait for.
    assert data["session.completed"].headline == {"films": 2, "analysed": 2, "failed": 0}
    for clip in (films.one, films.two):
        listed = client.get("/v1/analyses", params={"clip_id": clip}).json()["items"]
        assert [one["id"] for one in listed] == [analysis]


@pytest.mark.parametrize(
    "code", [NoteCode.VIEWS_TOGETHER, NoteCode.VIEWS_OPPOSITE, NoteCode.VIEWS_NOT_SYNCHRONISED,
             NoteCode.VIEWS_OF_TWO_SERVES, NoteCode.VIEWS_TOO_SHORT]
)  # fmt: skip
def test_films_that_are_no_pair_say_what_to_film(
    client: httpx.Client, wired: Wiring, films: TwoFilms, code: NoteCode
) -> None:
    def refuse(*_: object) -> EngineResult:
        placed = {"least": 60, "most": 100}
        near = (NoteCode.VIEWS_TOGETHER, NoteCode.VIEWS_OPPOSITE)
        raise FilmsNoPair(say(code, **placed if code in near else {}))

    analysis = start(client, films)
    run(wired, analysis, measure_pair=refuse)
    body = client.get(f"/v1/analyses/{analysis}").json()
    assert body["status"] == "failed"
    problem = body["problem"]
    assert (problem["code"], problem["detail_code"]) == ("films_no_pair", code.value)
    german = client.get(f"/v1/analyses/{analysis}", headers={"accept-language": "de"}).json()
    assert german["problem"]["detail"] != problem["detail"]
    if problem["parameters"]:
        assert "60 to 100 degrees apart" in problem["detail"]
        assert "60 bis 100 Grad" in german["problem"]["detail"]


def test_what_is_wrong_with_the_second_film_is_told_as_its_own(
    client: httpx.Client, wired: Wiring, films: TwoFilms
) -> None:
    def opened(path: Path, *_: object) -> FakeClip:
        if path.name == "same_serve":
            raise CodecNotSupported
        return FakeClip()

    analysis = start(client, films)
    run(wired, analysis, open_clip=opened)
    problem = client.get(f"/v1/analyses/{analysis}").json()["problem"]
    assert (problem["code"], problem["about"]) == ("codec_not_supported", films.two)


def test_what_can_be_no_second_film_is_refused_at_once(
    client: httpx.Client, films: TwoFilms
) -> None:
    def ask(second: str) -> httpx.Response:
        return client.post("/v1/analyses", json={"clip_id": films.one, "same_serve": second})

    same = assert_problem(ask(films.one), 422, "invalid_request")
    assert same["errors"][0]["pointer"] == "/same_serve"
    assert same["detail_code"] == "second_film_is_first"
    assert_problem(ask("clip_" + "0" * 32), 404, "not_found")
    joints = client.post(
        "/v1/joints", files={"file": ("j.npz", frozen.load("001").to_npz(), "application/zip")}
    )
    assert joints.status_code == 201, joints.text
    found = assert_problem(ask(joints.json()["clip_id"]), 422, "invalid_request")
    assert found["detail_code"] == "second_film_of_joints"
    elsewhere = new_clip(client, new_session(client, films.player, "retention", 3), b"3")
    apart = assert_problem(ask(elsewhere), 409, "films_of_two_sessions")
    assert apart["about"] == elsewhere
    assert "PATCH" in apart["detail"]


def test_a_key_makes_it_once_and_is_bound_to_both_films(
    client: httpx.Client, films: TwoFilms
) -> None:
    headers = {"idempotency-key": "k"}
    first, again = (client.post("/v1/analyses", json=films.body, headers=headers) for _ in range(2))
    assert first.json()["id"] == again.json()["id"]
    assert again.headers["idempotency-replayed"] == "true"
    alone = client.post("/v1/analyses", json={"clip_id": films.one}, headers=headers)
    assert_problem(alone, 422, "idempotency_conflict")


@pytest.mark.parametrize("which", ["one", "two"])
def test_erasing_either_film_erases_the_analysis(
    client: httpx.Client, wired: Wiring, films: TwoFilms, which: str
) -> None:
    analysis = start(client, films)
    run(wired, analysis)
    gone = client.delete(f"/v1/clips/{getattr(films, which)}")
    assert gone.status_code == 202
    assert_problem(client.get(f"/v1/analyses/{analysis}"), 404, "not_found")
    assert not list(wired.objects.list(f"analyses/{analysis}"))
    with wired.database.read() as session:
        assert session.scalars(select(Work)).all() == []
        left = session.scalars(select(OutboxEvent.body)).all()
    assert not [body for body in left if analysis in body]


def test_a_waiting_analysis_holds_both_films(
    client: httpx.Client, wired: Wiring, films: TwoFilms
) -> None:
    from service.core.keeping import _in_use

    with wired.database.read() as session:
        assert not any(_in_use(session, clip) for clip in (films.one, films.two))
    analysis = start(client, films)
    with wired.database.read() as session:
        assert all(_in_use(session, clip) for clip in (films.one, films.two))
    run(wired, analysis)
    with wired.database.read() as session:
        assert not any(_in_use(session, clip) for clip in (films.one, films.two))


def test_the_archive_of_the_player_holds_both_films_and_their_joints(
    client: httpx.Client, wired: Wiring, films: TwoFilms
) -> None:
    analysis = start(client, films)
    run(wired, analysis)
    reply = client.get(f"/v1/players/{films.player}/export")
    names = zipfile.ZipFile(io.BytesIO(reply.content)).namelist()
    assert {f"films/{films.one}.mp4", f"films/{films.two}.mp4"} <= set(names)
    assert f"analyses/{analysis}/1/joints.same_serve.npz" in names
    told = json.loads(zipfile.ZipFile(io.BytesIO(reply.content)).read("work.json"))
    assert [one["same_serve_id"] for one in told] == [films.two]


def test_the_serve_counts_once_in_its_session(
    client: httpx.Client, wired: Wiring, films: TwoFilms
) -> None:
    for clip in (films.one, films.two):
        alone = made(client.post("/v1/analyses", json={"clip_id": clip}))["id"]
        complete(wired, alone)
    analysis = start(client, films)
    run(wired, analysis)
    asked = made(client.post(f"/v1/players/{films.player}/progress", json={}))
    assert asked["analyses"] == [analysis]


def test_a_key_of_the_player_sees_it_while_both_films_are_theirs(
    client: httpx.Client, wired: Wiring, films: TwoFilms
) -> None:
    analysis = start(client, films)
    run(wired, analysis)
    key = wired.keys.add("app", frozenset({Scope.RESULTS_READ}), player_id=films.player)
    theirs = {"authorization": f"Bearer {key}"}
    assert client.get(f"/v1/analyses/{analysis}", headers=theirs).status_code == 200
    stranger = new_session(client, new_player(client, "other"), "baseline", 1)
    file_under(client, films.two, stranger)
    hidden = client.get(f"/v1/analyses/{analysis}", headers=theirs)
    assert_problem(hidden, 404, "not_found")


@pytest.mark.parametrize("year", [None, 1980])
def test_the_second_films_player_may_be_the_minor(
    client: httpx.Client, wired: Wiring, films: TwoFilms, year: int | None
) -> None:
    etag = client.get(f"/v1/players/{films.player}").headers["etag"]
    grown = client.patch(
        f"/v1/players/{films.player}",
        json={"birth_year": 1980},
        headers={"content-type": "application/merge-patch+json", "if-match": etag},
    )
    assert grown.status_code == 200, grown.text
    analysis = start(client, films)
    other = made(client.post("/v1/players", json={"external_id": "o", "birth_year": year}))
    file_under(client, films.two, new_session(client, other["id"], "baseline", 1))
    claim = wired.work.claim(WorkKind.ANALYSIS, analysis, 1, "w")
    with wired.database.read() as session:
        row = session.get_one(Work, analysis)
    assert claim.minor is wired.share_links.may_show_minor(row) is (year is None)


def test_again_measures_both_films_from_their_stored_joints(
    client: httpx.Client, wired: Wiring, films: TwoFilms, monkeypatch: pytest.MonkeyPatch
) -> None:
    analysis = start(client, films)
    run(wired, analysis)
    seen: list[tuple[int, int]] = []

    class Engine:
        models = ()
        identity = "e" * 64

        def analyse_pair(
            self, one: JointTrack, two: JointTrack, request: EngineRequest
        ) -> EngineResult:
            seen.append((len(one), len(two)))
            return measured(one, two, request)

    monkeypatch.setattr("workers.jobs.analysis.load", Engine)
    asked = made(client.post(f"/v1/analyses/{analysis}/again"))
    assert (asked["clip_id"], asked["same_serve"]) == (films.one, films.two)
    entry.work(wired, attempt_at(asked["id"], 1))
    body = client.get(asked["links"]["self"]).json()
    assert body["status"] == "completed", body["problem"]
    assert seen == [(10, 10)]
    told = client.get(body["links"]["result"]).json()["second_view"]
    assert told["clip"]["sha256"] == client.get(f"/v1/clips/{films.two}").json()["sha256"]
    assert client.get(body["links"]["joints.same_serve.npz"]).status_code == 200
