"""The story of one player, told with the package ``servewright_client``."""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from pathlib import Path

from servewright_client import NotFoundError, Servewright, Work


def measured(servewright: Servewright, film: Path, session: str, models: Sequence[str]) -> Work:
    """Send a film of a session, have it analysed, wait."""
    clip = servewright.upload(film, session_id=session)
    options = {"models": list(models)} if models else {}
    return servewright.wait(servewright.analyse(clip.id, **options), timeout_s=400)


def tell(url: str, key: str, films: Sequence[Path], folder: Path, models: Sequence[str]) -> None:
    """Register, film, measure, compare, erase."""
    now = datetime.now(UTC)
    with Servewright(url, key, piece_bytes=20_000) as servewright:
        player = servewright.create_player("member-p", handedness="right", height_m=1.8)
        player = servewright.change_player(player, height_m=1.83)
        first = servewright.create_session(player.id, "baseline", now - timedelta(days=8))
        second = servewright.create_session(player.id, "acquisition", now - timedelta(days=1))
        analysis = measured(servewright, films[0], first.id, models)
        result = servewright.result(analysis)
        serve = result["repetitions"][0]
        print("repetitions:", len(result["repetitions"]))
        print("events:", *serve["events"])
        print("measured:", sum(metric["measurable"] for metric in serve["metrics"]))
        measured(servewright, films[1], second.id, models)

        clips = list(servewright.clips(limit=1))
        print("clips:", len(clips))
        kept = servewright.save(clips[-1], "content", folder / "kept.mp4")
        print("film:", sha256(kept.read_bytes()).hexdigest() == clips[-1].sha256)
        done = servewright.wait(
            servewright.compare(
                {"label": "before", "sessions": [first.id]},
                {"label": "after", "sessions": [second.id]},
                film=False,
            )
        )
        print("compared:", len(servewright.result(done)["differences"]))
        report = servewright.save(done, "report.html", folder / "report.html")
        print("report:", "<html" in report.read_text("utf-8"))
        print("analyses:", len(list(servewright.analyses(player_id=player.id))))

        receipt = servewright.erasure(servewright.erase_player(player.id).id)
        print("erased:", receipt.erased_id == player.id, receipt.raw["clips"], "clips")
        try:
            servewright.player(player.id)
        except NotFoundError as error:
            print("after erasing:", error.code)


if __name__ == "__main__":
    url, key, films, folder, models = json.loads(sys.argv[1])
    tell(url, key, [Path(film) for film in films], Path(folder), models)
