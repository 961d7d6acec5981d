"""The story of one player, told with the client that a generator made from the OpenAPI document.

``python generated_story.py URL KEY BEFORE AFTER [MODEL…]``; imports nothing of this project.
"""

from __future__ import annotations

import sys
import time
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from io import BytesIO
from pathlib import Path
from typing import TypeVar

import httpx
from servewright_generated.api.analyses import read_analysis, read_result, start_analysis
from servewright_generated.api.clips import list_clips, read_clip_content, send_clip
from servewright_generated.api.coaching import (
    read_comparison,
    read_comparison_report,
    read_comparison_result,
    start_comparison,
)
from servewright_generated.api.players import (
    create_player,
    create_session,
    erase_player,
    read_player,
)
from servewright_generated.client import AuthenticatedClient
from servewright_generated.models.analysis import Analysis
from servewright_generated.models.analysis_options import AnalysisOptions
from servewright_generated.models.analysis_request import AnalysisRequest
from servewright_generated.models.analysis_resource import AnalysisResource
from servewright_generated.models.analysis_status import AnalysisStatus
from servewright_generated.models.clip_page import ClipPage
from servewright_generated.models.clip_resource import ClipResource
from servewright_generated.models.comparison import Comparison
from servewright_generated.models.comparison_request import ComparisonRequest
from servewright_generated.models.comparison_side_request import ComparisonSideRequest
from servewright_generated.models.derived_resource import DerivedResource
from servewright_generated.models.film_form import FilmForm
from servewright_generated.models.handedness import Handedness
from servewright_generated.models.player_request import PlayerRequest
from servewright_generated.models.player_resource import PlayerResource
from servewright_generated.models.problem import Problem
from servewright_generated.models.session_kind import SessionKind
from servewright_generated.models.session_request import SessionRequest
from servewright_generated.models.session_resource import SessionResource
from servewright_generated.types import UNSET, File

PATIENCE_S = 400.0
"""Longest wait for one piece of work, seconds."""
Wanted = TypeVar("Wanted")


def given(kind: type[Wanted], answer: object) -> Wanted:
    """Return an answer of the kind that was hoped for; stop at a problem."""
    if isinstance(answer, Problem):
        raise SystemExit(f"{answer.code}: {answer.detail}")
    if not isinstance(answer, kind):
        raise SystemExit(f"{kind.__name__} was expected, not {answer!r}")
    return answer


def film_of(client: AuthenticatedClient, path: Path, session: str, models: list[str]) -> str:
    """Send a film of a session and have it analysed; return the analysis once it has ended."""
    data = path.read_bytes()
    form = FilmForm(file=File(BytesIO(data), path.name, "video/mp4"), session_id=session)
    clip = given(ClipResource, send_clip.sync(client=client, body=form))
    stored = given(File, read_clip_content.sync(clip.id, client=client))
    if sha256(stored.payload.read()).hexdigest() != clip.sha256:
        raise SystemExit("the stored film is another one")
    options = AnalysisOptions(height_m=1.83, models=models or UNSET)
    request = AnalysisRequest(clip_id=clip.id, options=options)
    asked = given(AnalysisResource, start_analysis.sync(client=client, body=request))
    end = time.monotonic() + PATIENCE_S
    while asked.status in (AnalysisStatus.QUEUED, AnalysisStatus.RUNNING):
        if time.monotonic() > end:
            raise SystemExit(f"{asked.id} has not ended")
        time.sleep(0.3)
        asked = given(AnalysisResource, read_analysis.sync(asked.id, client=client))
    if asked.status is not AnalysisStatus.COMPLETED:
        raise SystemExit(f"{asked.id}: {asked.problem}")
    return asked.id


def session_of(client: AuthenticatedClient, player: str, kind: SessionKind, days: int) -> str:
    """Return a new session some days ago."""
    filmed = datetime.now(UTC) - timedelta(days=days)
    body = SessionRequest(kind=kind, filmed_at=filmed)
    return given(SessionResource, create_session.sync(player, client=client, body=body)).id


def tell(client: AuthenticatedClient, before: Path, after: Path, models: list[str]) -> None:
    """Register, film, measure, compare, erase."""
    body = PlayerRequest(external_id="member-g", handedness=Handedness.RIGHT, height_m=1.83)
    player = given(PlayerResource, create_player.sync(client=client, body=body)).id
    first = session_of(client, player, SessionKind.BASELINE, 8)
    analysis = film_of(client, before, first, models)
    result = given(Analysis, read_result.sync(analysis, client=client))
    repetitions = result.repetitions or []
    print("repetitions:", len(repetitions))
    for serve in repetitions:
        print("events:", *(serve.events.additional_keys if serve.events else ()))
        print("measured:", sum(1 for metric in serve.metrics or [] if metric.measurable))

    second = session_of(client, player, SessionKind.ACQUISITION, 1)
    film_of(client, after, second, models)
    page = given(ClipPage, list_clips.sync(client=client, session_id=second))
    print("clips:", len(page.items))
    sides = ComparisonRequest(
        first=ComparisonSideRequest(label="before", sessions=[first]),
        second=ComparisonSideRequest(label="after", sessions=[second]),
        film=False,
    )
    asked = given(DerivedResource, start_comparison.sync(client=client, body=sides))
    end = time.monotonic() + PATIENCE_S
    while asked.status in (AnalysisStatus.QUEUED, AnalysisStatus.RUNNING):
        if time.monotonic() > end:
            raise SystemExit(f"{asked.id} has not ended")
        time.sleep(0.3)
        asked = given(DerivedResource, read_comparison.sync(asked.id, client=client))
    if asked.status is not AnalysisStatus.COMPLETED:
        raise SystemExit(f"{asked.id}: {asked.problem}")
    changes = given(Comparison, read_comparison_result.sync(asked.id, client=client))
    print("compared:", len(changes.differences))
    page_html = given(str, read_comparison_report.sync(asked.id, client=client))
    print("report:", "<html" in page_html)

    erase_player.sync_detailed(player, client=client)
    gone = read_player.sync(player, client=client)
    print("after erasing:", gone.code if isinstance(gone, Problem) else "still there")


def main() -> None:
    """Tell the story to a service."""
    url, key, before, after, *models = sys.argv[1:]
    patience = httpx.Timeout(120)
    with AuthenticatedClient(base_url=url, token=key, timeout=patience) as client:
        tell(client, Path(before), Path(after), models)


if __name__ == "__main__":
    main()
