"""The sizing page and its graphs, from a document of the bench."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from workers.cli.capacity.graph import graph
from workers.cli.capacity.measured import RECEIVER_S, LoadCosts
from workers.cli.capacity.scenario import (
    PEAK_SHARE,
    POLL_S,
    ROUND_S,
    SENDER_SLOTS,
    LoadOutcome,
    Scaling,
    Size,
    simulate,
)
from workers.cli.capacity.sizing import outcome, size_for

TARGET_S = 60.0
"""Seconds that nine of ten clips may wait (working value)."""
DAYS = (100.0, 1_000.0, 10_000.0, 100_000.0, 1_000_000.0)
"""Loads of the table, clips a day."""


@dataclass(frozen=True, slots=True)
class _User:
    key: str
    title: str
    clips: float
    words: str


USERS = (
    _User("club", "One club", 200.0, "a few courts, 200 clips a day"),
    _User("coaching", "A coaching business", 5_000.0, "many coaches with apps, 5,000 clips a day"),
    _User("federation", "A federation", 100_000.0, "clubs of a country, 100,000 clips a day"),
)


def files(measured: LoadCosts) -> dict[str, str]:
    """Return the page and its graphs by file name."""
    texts: dict[str, str] = {}
    sections = []
    for user in USERS:
        size = size_for(user.clips, measured, TARGET_S)
        rows = [
            (size_now, outcome(user.clips, size_now, measured))
            for size_now in (replace(size, workers=n) for n in _around(size.workers))
        ]
        texts[f"sizing-{user.key}.svg"] = graph(
            f"{user.title}: waiting in the busiest hour",
            "workers",
            "seconds",
            {
                "95 % wait less than": [(s.workers, seen.wait_p95_s) for s, seen in rows],
                "half wait less than": [(s.workers, seen.wait_p50_s) for s, seen in rows],
            },
        )
        sections.append(_section(user, size, rows))
    sizes = [(clips, size_for(clips, measured, TARGET_S)) for clips in DAYS]
    seen = [outcome(clips, size, measured) for clips, size in sizes]
    plain = [_servers_busy(size, one) for (_, size), one in zip(sizes, seen, strict=True)]
    texts["sizing-stations.svg"] = graph(
        "Work in the busiest hour, with enough of everything",
        "clips a day",
        "processes kept busy",
        {
            name: [(clips, one[name]) for (clips, _), one in zip(sizes, plain, strict=True)]
            for name in ("api", "database", "webhooks")
        },
        decades=True,
    )
    texts["sizing.md"] = _page(measured, sections, sizes, seen, plain)
    return texts


def _servers_busy(size: Size, seen: LoadOutcome) -> dict[str, float]:
    """Return how many servers of each station were busy in the mean."""
    servers = {
        "api": size.api_processes,
        "database": size.database_connections,
        "webhooks": size.api_processes * SENDER_SLOTS,
    }
    return {name: seen.use[name] * count for name, count in servers.items()}


def _around(workers: int) -> list[int]:
    """Return numbers of workers from too few to plenty."""
    step = max(1, workers // 12)
    return sorted({max(1, workers + k * step) for k in range(-3, 5)})


def _section(user: _User, size: Size, rows: list[tuple[Size, LoadOutcome]]) -> str:
    lines = [
        f"## {user.title}",
        "",
        f"{user.words[0].upper()}{user.words[1:]}: **{size.workers} workers** (a core each), "
        f"{size.api_processes} API process{'es' if size.api_processes > 1 else ''}.",
        "",
        f"![Waiting by number of workers](sizing-{user.key}.svg)",
        "",
        "| workers | half wait less than | 95 % wait less than | 95 % have the result after | "
        "workers busy | still waiting at the end |",
        "| ---: | ---: | ---: | ---: | ---: | ---: |",
    ]
    lines += [
        f"| {s.workers} | {o.wait_p50_s:.0f} s | {o.wait_p95_s:.0f} s | {o.result_p95_s:.0f} s | "
        f"{o.use['workers']:.0%} | {o.left} |"
        for s, o in rows
    ]
    return "\n".join(lines)


def _page(
    measured: LoadCosts,
    sections: list[str],
    sizes: list[tuple[float, Size]],
    seen: list[LoadOutcome],
    plain: list[dict[str, float]],
) -> str:
    table = [
        "| clips a day | workers | API processes | database writers | 95 % wait less than | "
        "kept busy: API processes, database writers, webhook senders | "
        "a round over the queue |",
        "| ---: | ---: | ---: | ---: | ---: | --- | ---: |",
    ]
    for (clips, size), one, narrow in zip(sizes, seen, plain, strict=True):
        use = ", ".join(f"{narrow[name]:.2f}" for name in ("api", "database", "webhooks"))
        table.append(
            f"| {clips:,.0f} | {size.workers} | {size.api_processes} | "
            f"{size.database_connections} | {one.wait_p95_s:.0f} s | {use} | {one.round_s:.2f} s |"
        )
    return (
        "\n\n".join(
            [
                "# How large an installation must be",
                _introduction(measured),
                *sections,
                "## From one server to a million clips a day",
                "![Use of the stations](sizing-stations.svg)",
                "\n".join(table),
                _bends(measured),
                _rule(measured),
            ]
        )
        + "\n"
    )


def _introduction(measured: LoadCosts) -> str:
    def ms(values: tuple[float, ...]) -> str:
        return f"{np.median(values) * 1e3:.1f} ms"

    return (
        "Made by `servewright capacity BENCH.json --page infra` from what `servewright bench` "
        "(`films`, `api`) measured; make it anew with figures of your own machine. A "
        "discrete-event model lets clips arrive at random in the busiest hour of a day "
        f"({PEAK_SHARE:.0%} of the day's clips: a working value) and sends them through API, "
        "database, workers and webhook senders with measured times. Its waiting is tested against "
        "Erlang's formulas.\n\n"
        f"Measured on {measured.machine}: an analysis takes {np.mean(measured.analysis_s):.1f} s "
        f"of a core in the mean ({min(measured.analysis_s):.1f} to "
        f"{max(measured.analysis_s):.1f} s, {len(measured.analysis_s)} kinds of film), an upload "
        f"{ms(measured.upload_s)}, a status "
        f"answer {ms(measured.status_s)}, a change of state in the database "
        f"{ms(measured.transaction_s)}, a result file {ms(measured.store_s)} (medians). Not "
        f"measured, but assumed: a receiver of webhooks answers in {RECEIVER_S * 1e3:.0f} ms; "
        f"whoever waits asks every {POLL_S:.0f} s; clips arrive independently of each other."
    )


def _bends(measured: LoadCosts) -> str:
    transaction = float(np.median(measured.transaction_s))
    sender = RECEIVER_S + 2.0 * transaction
    return "\n".join(
        [
            "## Where it bends, and what to set",
            "",
            "- **Workers** bend first: a core each, `SERVEWRIGHT_WORKERS` (0 = one a usable core); "
            "more hosts with `servewright worker`.",
            f"- **Webhook sender**: {SENDER_SLOTS} requests at a time, "
            f"{SENDER_SLOTS / sender:.0f} a second for each API process while receivers take that "
            "long (`SERVEWRIGHT_WEBHOOK_REQUESTS`). A receiver should answer at once and work "
            "afterwards; one that does not answer is rested and holds up no other.",
            f"- **Database**: SQLite makes one change of state at a time, {1.0 / transaction:.0f} "
            "a second here; above half of that take PostgreSQL (`SERVEWRIGHT_DATABASE_URL`). "
            "Longer `SERVEWRIGHT_HEARTBEAT_S` (and `SERVEWRIGHT_LEASE_S`) means fewer writes.",
            "- **API**: polling costs more than uploading; webhooks instead of polling, and direct "
            "uploads to the object store (`POST /v1/clips/direct`), take most of it away.",
            f"- **Reconciler**: a round looks at everything unfinished, "
            f"{measured.round_row_s * 1e3:.2f} ms each here; where a round takes longer than "
            f"`SERVEWRIGHT_RECONCILE_INTERVAL_S` ({ROUND_S:.0f} s) make that longer.",
            "- **Object store**: a result is about a dozen files; a local folder serves one host, "
            "`SERVEWRIGHT_OBJECT_STORE=s3` any number.",
        ]
    )


def _rule(measured: LoadCosts) -> str:
    rule = Scaling()
    load = USERS[1].clips
    size = size_for(load, measured, TARGET_S)
    small = Size(max(1, size.workers // 4), size.api_processes, size.database_connections)
    fixed = simulate(load, small, measured)
    scaled = simulate(load, small, measured, scaling=rule)
    return "\n".join(
        [
            "## Workers that come and go",
            "",
            "Scale by the age of the queue, not by processor use: workers are always busy while "
            f"anything waits. Every {rule.every_s:.0f} s let *a* be the analyses that arrived a "
            "second since the last look, *q* those that wait, and *s* the mean time of an analysis "
            "(seconds). Then",
            "",
            f"> workers = ceil(a · s + q · s / {rule.target_s:.0f})",
            "",
            "and fewer than now only while the oldest has waited less than a quarter of the target "
            f"({rule.target_s / 4.0:.0f} s). In PostgreSQL:",
            "",
            "```sql",
            "SELECT count(*) AS q, extract(epoch FROM now() - min(queued_at)) AS oldest_s",
            "FROM work WHERE status = 'queued';",
            "```",
            "",
            f"In the model, {load:,.0f} clips a day from {small.workers} workers, a new one ready "
            f"after {rule.start_s:.0f} s: 95 % wait less than {scaled.wait_p95_s:.0f} s with the "
            f"rule ({scaled.workers} workers at the end), {fixed.wait_p95_s:.0f} s and "
            f"{fixed.left} left over without it. The hour begins with an empty queue and the load "
            "rises within six minutes.",
        ]
    )
