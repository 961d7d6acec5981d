"""A club's story with one player, step by step through the HTTP API.

Intake, baseline, practice plan, the coach's session with its drills, what changed, the retention
check a week later, progress, the next plan, and at the end the right to be forgotten. The player,
the dates and the club are invented; the films are rendered and show one rendered body whose true
change is known, so what is measured can be held against it.

``python infra/examples/club_story.py`` starts a service of its own and stops it again;
``--url`` and ``--key`` use one that runs (its webhooks must be able to reach this machine).
"""

from __future__ import annotations

import argparse
import json
import secrets
import sys
import tempfile
import threading
import time
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import httpx

PROJECT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(PROJECT), str(Path(__file__).resolve().parent)]

import club_films as shown  # noqa: E402
from own_service import NotStarted, own_service  # noqa: E402
from receiver import MAX_BODY, Rejected, accept  # noqa: E402

OUT = PROJECT / "out" / "club-story"
WORK_S = 900.0
RULES = PROJECT / "infra" / "examples" / "club_rules.yaml"


class StoryFailed(Exception):
    """A step did not work."""


def step(text: str) -> None:
    """Print the beginning of a step."""
    print(f"\n== {text}", flush=True)


def say(text: str) -> None:
    """Print a line of a step."""
    print(f"   {text}", flush=True)


class Hooks:
    """Receives signed webhooks on this machine."""

    def __init__(self) -> None:
        self.secret = ""
        self._events: dict[str, dict[str, Any]] = {}  # by id: delivery is at least once
        self._news = threading.Condition()
        hooks = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                size = int(self.headers.get("content-length", "0"))
                try:
                    if size > MAX_BODY:
                        raise Rejected("too large")
                    hooks._take(accept(hooks.secret, dict(self.headers), self.rfile.read(size)))
                    self.send_response(204)
                except Rejected:
                    self.send_response(401)
                self.send_header("content-length", "0")
                self.end_headers()

            def log_message(self, format: str, *args: object) -> None:
                """Keep the output for the story."""

        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self._server.daemon_threads = True
        self.url = f"http://127.0.0.1:{self._server.server_address[1]}/"
        threading.Thread(target=self._server.serve_forever, daemon=True).start()

    def _take(self, event: dict[str, Any]) -> None:
        with self._news:
            self._events.setdefault(event["id"], event)
            self._news.notify_all()

    def wait_for(self, kind: str, about: str, seconds: float = WORK_S) -> dict[str, Any]:
        """Return the event of a type about a resource, also one that came before."""
        failed = kind.rpartition(".")[0] + ".failed"
        end = time.monotonic() + seconds
        with self._news:
            while True:
                for event in self._events.values():
                    if event["data"]["id"] == about and event["type"] in (kind, failed):
                        if event["type"] == kind:
                            return event
                        raise StoryFailed(f"{failed}: {json.dumps(event['data']['problem'])}")
                if not self._news.wait(end - time.monotonic()):
                    raise StoryFailed(f"No webhook {kind} within {seconds:.0f} s.")

    def close(self) -> None:
        """Stop listening."""
        self._server.shutdown()
        self._server.server_close()


class Club:
    """The integrating app: what it sends and fetches."""

    def __init__(
        self, client: httpx.Client, hooks: Hooks, out: Path, models: Sequence[str] = ()
    ) -> None:
        self.client = client
        self.hooks = hooks
        self.out = out
        self.models = list(models)

    def call(self, method: str, path: str, **more: Any) -> Any:
        """Return the JSON of a successful call."""
        if method == "POST":
            more["headers"] = {"idempotency-key": secrets.token_hex(16)} | more.get("headers", {})
        answer = self.client.request(method, path, **more)
        if not answer.is_success:
            raise StoryFailed(f"{method} {path} answered {answer.status_code}: {answer.text[:600]}")
        return answer.json() if answer.content else None

    def session(self, player: str, kind: str, days_ago: float, **more: Any) -> str:
        """Open a session; return its id."""
        filmed = (datetime.now(UTC) - timedelta(days=days_ago)).isoformat(timespec="seconds")
        body = {"kind": kind, "filmed_at": filmed, **more}
        return str(self.call("POST", f"/v1/players/{player}/sessions", json=body)["id"])

    def film(self, name: str, session: str, **options: Any) -> str:
        """Send a film of a session and have it analysed; return the analysis, which goes on."""
        path = shown.FILMS / f"{name}.mp4"
        with path.open("rb") as stream:
            files = {"file": (path.name, stream, "video/mp4")}
            clip = self.call("POST", "/v1/clips", files=files, data={"session_id": session})
        if self.models:
            options["models"] = self.models
        body = {"clip_id": clip["id"], "options": options}
        return str(self.call("POST", "/v1/analyses", json=body)["id"])

    def measured(self, analysis: str, name: str) -> None:
        """Wait until the analysis of a film has ended."""
        head = self.hooks.wait_for("analysis.completed", analysis)["data"]["headline"]
        say(f"{name}.mp4: {head['repetitions']} repetition(s) of kind {head.get('kind', 'none')}")

    def films(self, names: Sequence[str], session: str, **of_the_first: Any) -> list[str]:
        """Send the films of a session, wait until all are analysed, return the analyses.

        Parameters
        ----------
        **of_the_first
            Options that only the first one gets.
        """
        analyses = [
            self.film(name, session, **(of_the_first if name == names[0] else {})) for name in names
        ]
        for analysis, name in zip(analyses, names, strict=True):
            self.measured(analysis, name)
        return analyses

    def made(self, path: str, kind: str, body: dict[str, Any]) -> dict[str, Any]:
        """Ask for a derived document, wait for its webhook; return the resource."""
        asked = self.call("POST", path, json=body)
        self.hooks.wait_for(f"{kind}.completed", asked["id"])
        return dict(self.call("GET", asked["links"]["self"]))

    def keep(self, resource: dict[str, Any], name: str, files: tuple[str, ...]) -> None:
        """Fetch results into the output folder."""
        for file in files:
            answer = self.client.get(resource["links"][file])
            answer.raise_for_status()
            path = self.out / f"{name}-{file}"
            path.write_bytes(answer.content)
            say(f"kept {path.name} ({len(answer.content) / 1000:.0f} kB)")


def tell(club: Club) -> None:
    """Tell the whole story."""
    step("Intake: a player is registered under the club's own id (no name)")
    body = {
        "external_id": f"member-{secrets.token_hex(3)}",
        "handedness": "right",
        "height_m": shown.height_m(),
        "birth_year": datetime.now(UTC).year - 29,
    }
    player = str(club.call("POST", "/v1/players", json=body)["id"])
    here = f"/v1/players/{player}"
    say(f"{body['external_id']} is {player}")

    step("Baseline: serves before any coaching, eight days ago")
    before = club.session(
        player, "baseline", 8, serve_speed={"value_m_s": 38.0, "source": "self_reported"}
    )
    first = club.films(shown.BASELINE, before, annotated_film=True)
    state = club.call("GET", f"/v1/analyses/{first[0]}")
    club.keep(state, "baseline", ("report.html", "film.mp4"))

    step("The coach sends the club's own rules; they are checked and merged into the shipped ones")
    rules = club.call(
        "POST",
        "/v1/practice-rules",
        content=RULES.read_bytes(),
        headers={"content-type": "application/yaml"},
    )
    say(f"{rules['name']}: {rules['findings']} findings, {rules['drills']} drills")

    step("Practice plan from the baseline: one focus")
    plan = club.made(f"{here}/plans", "plan", {"rules_id": rules["id"]})
    show_plan(plan)
    club.keep(plan, "plan", ("report.html",))

    step("The coach's session, a week ago: drills, each judged by what is measured in its film")
    done = drills(club, player, plan)
    after = club.session(player, "acquisition", 7, notes="after the drills")
    club.films(shown.PRACTISED, after)

    step("What changed from the baseline to the practised serves")
    sides = {
        "first": {"label": "before", "sessions": [before]},
        "second": {"label": "after practice", "sessions": [after]},
        "focus": list(shown.FOCUS),
    }
    comparison = club.made("/v1/comparisons", "comparison", sides)
    head = comparison["headline"]
    say(
        f"{head['surely_changed']} surely changed, no change seen in {head['no_change_seen']}, "
        f"{head['cannot_tell']} cannot be told"
    )
    for change in head["changes"]:
        at = f" at {change['event']}" if change["event"] else ""
        say(
            f"{change['key']}{at}: {change['difference']:+.3g} {change['unit']} "
            f"(truly {shown.true_change(change['key'], change['event'])})"
        )
    kept = ("report.html", "film.mp4") if "film.mp4" in comparison["links"] else ("report.html",)
    club.keep(comparison, "comparison", kept)

    step("One week later the service says that the retention check is due")
    event = club.hooks.wait_for("retention.due", player, 60.0)
    say(event["data"]["headline"]["reason"])

    step("Retention: filmed today, before any coaching")
    later = club.session(player, "retention", 0)
    club.films(shown.RETAINED, later)

    step("Progress over the sessions")
    progress = club.made(f"{here}/progress", "progress", {"focus": list(shown.FOCUS)})
    for verdict, count in sorted(progress["headline"]["verdicts"].items()):
        say(f"{verdict.replace('_', ' ')}: {count} metrics")
    following = progress["headline"]["next_check"]
    if following:
        say(f"film next between {following['not_before'][:10]} and {following['not_after'][:10]}")
    club.keep(progress, "progress", ("report.html",))

    step("The plan moves on")
    body = {"rules_id": rules["id"], "sessions": [before], "done": done}
    plan = club.made(f"{here}/plans", "plan", body)
    show_plan(plan)
    club.keep(plan, "next-plan", ("report.html",))

    step("The player leaves the club: everything is erased")
    club.call("DELETE", here)
    for address in (here, f"/v1/analyses/{first[0]}/result", comparison["links"]["report.html"]):
        status = club.client.get(address).status_code
        say(f"GET {address.rsplit('/', 1)[0]}/... -> {status}")
        if status != 404:
            raise StoryFailed("Something is left of an erased player.")


def drills(club: Club, player: str, plan: dict[str, Any]) -> list[str]:
    """Film drill after drill as the decisions say; return those whose criteria were met."""
    done: list[str] = []
    finding, drill = plan["headline"]["focus"], plan["headline"]["next"]
    if finding is None:
        say("The plan found nothing to work on; the coach names a drill.")
        finding, drill = "weight_not_on_rear_foot", "hold_loaded"
    stages = {"hold": "hold", "shadow": "shadow", "throw": "throw", "serve": "serve"}
    for _ in range(2):
        stage = stages[drill.partition("_")[0]]
        session = club.session(player, "acquisition", 7, drill_stage=stage, drill_id=drill)
        club.films([shown.DRILL_FILMS[stage]], session)
        body = {
            "plan_id": plan["id"],
            "finding": finding,
            "drill": drill,
            "sessions": [session],
        }
        check = club.made("/v1/drill-checks", "drill_check", body)
        outcome = club.call("GET", check["links"]["result"])
        say(
            f"{drill}: {outcome['decision'].replace('_', ' ').upper()}. {outcome['reason']['text']}"
        )
        if outcome["decision"] != "advance" or outcome["next_drill"] is None:
            break
        done.append(drill)
        drill = outcome["next_drill"]
    return done


def show_plan(plan: dict[str, Any]) -> None:
    """Print focus and steps."""
    head = plan["headline"]
    say(f"focus: {head['focus'] or 'nothing found'}")
    for entry in head["steps"]:
        say(f"  {entry['state']:>5}: {entry['drill']}")


def run(url: str, key: str, out: Path, models: Sequence[str]) -> None:
    """Tell the story to a service."""
    out.mkdir(parents=True, exist_ok=True)
    hooks = Hooks()
    headers = {"authorization": f"Bearer {key}"}
    try:
        with httpx.Client(base_url=url, headers=headers, timeout=120, trust_env=False) as client:
            club = Club(client, hooks, out, models)
            endpoint = club.call("POST", "/v1/webhook-endpoints", json={"url": hooks.url})
            hooks.secret = endpoint["secret"]
            try:
                tell(club)
            finally:
                client.delete(endpoint["links"]["self"])
    finally:
        hooks.close()


def main() -> int:
    """Tell the story; return the exit code."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--url", help="a service that runs")
    parser.add_argument("--key", help="its API key, with all scopes")
    parser.add_argument("--out", type=Path, default=OUT, help="where reports and films are put")
    parser.add_argument(
        "--models", nargs="+", default=(), help="pose networks; fewer and lighter ones are quicker"
    )
    chosen = parser.parse_args()
    if (chosen.url is None) != (chosen.key is None):
        parser.error("give both --url and --key, or neither")
    print("Player, club and dates are invented; the films are rendered and show one body.")
    try:
        if chosen.url:
            run(chosen.url, chosen.key, chosen.out, chosen.models)
        else:
            with (
                tempfile.TemporaryDirectory(prefix="servewright-story-") as folder,
                own_service(Path(folder)) as (url, key),
            ):
                run(url, key, chosen.out, chosen.models)
    except (StoryFailed, NotStarted, httpx.HTTPError) as error:
        print(f"The story failed: {error}", file=sys.stderr)
        return 1
    except KeyboardInterrupt:
        return 130
    print(f"\nThe story is told. Reports and films: {chosen.out}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
