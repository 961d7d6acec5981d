"""Films that a crash left without a row."""

from __future__ import annotations

import time
from datetime import UTC, datetime, timedelta

from service.core.identifiers import made_at, new_id, uuid7_hex
from service.core.intake import Received
from service.core.object_keys import clip_key
from service.core.orphans import AGE, OrphanSweep
from service.core.wiring import Wiring
from tests.films import TESTER


def old_clip_id() -> str:
    milliseconds = int((time.time() - AGE.total_seconds() - 60) * 1000)
    return f"clip_{uuid7_hex(milliseconds, 1)}"


def test_identifiers_tell_when_they_were_made() -> None:
    # The example of RFC 9562, appendix A.6: 2022-02-22 19:22:22 UTC.
    made = datetime(2022, 2, 22, 19, 22, 22, tzinfo=UTC)
    assert made_at("clip_017f22e279b07cc398c4dc0c0c07398f") == made
    assert abs(made_at(new_id("clip")) - datetime.now(UTC)) < timedelta(minutes=1)


def test_only_old_films_without_a_row_are_removed(wiring: Wiring) -> None:
    lost, young, known = old_clip_id(), new_id("clip"), f"clip_{uuid7_hex(1, 2)}"
    for clip_id in (lost, young, known):
        wiring.objects.put_bytes(clip_key("main", clip_id), b"film", "video/mp4")
    wiring.clips.register(TESTER, known, Received("0" * 64, 4, "video/mp4"))
    assert OrphanSweep(wiring.database, wiring.objects).run_once() == 1
    left = {info.key for info in wiring.objects.list("clips")}
    assert left == {clip_key("main", young), clip_key("main", known)}


def test_the_reconciler_sweeps_now_and_then(wiring: Wiring) -> None:
    wiring.objects.put_bytes(clip_key("main", old_clip_id()), b"film", "video/mp4")
    assert wiring.reconciler().run_once().swept == 1
    wiring.objects.put_bytes(clip_key("main", old_clip_id()), b"film", "video/mp4")
    assert wiring.reconciler().run_once().swept == 0
