"""Many analyses while parts of the service are killed, stores fail and the disk is full."""

from __future__ import annotations

import argparse
import collections
import os
import random
import signal
import statistics
import subprocess
import threading
import time
from pathlib import Path

import httpx
import psycopg
import redis

from infra.chaos.disk import SmallDisk
from infra.chaos.films import empty_court
from infra.chaos.parts import PROGRAM, Parts, environment_of, patiently
from infra.chaos.postgres import Postgres, free_port
from infra.chaos.receiver import Receiver
from infra.chaos.recovery import Recovery
from infra.chaos.store import BUCKET, FailingStore

EVERY_S = (15.0, 45.0)
"""Shortest and longest pause between two harms, seconds: on a machine with two busy cores workers
take ten or more to start (working values)."""
DOWN_S = (1.0, 5.0)
"""How long the database is down, seconds."""
FULL_S = 10.0
"""How long the disk is full, seconds."""
LEASE_S = 5.0
FINAL = {"completed", "failed", "cancelled"}
KINDS = ("worker", "job", "decoder", "decoder", "supervisor", "api", "flush")


class Harms:
    """Does harm, one at a time, each seen by the watch over recovery."""

    def __init__(
        self,
        parts: Parts,
        queue: redis.Redis,
        database: Postgres,
        disk: SmallDisk | None,
        watch: Recovery,
        dice: random.Random,
    ) -> None:
        self.done: collections.Counter[str] = collections.Counter()
        self._parts, self._queue, self._database = parts, queue, database
        self._disk, self._watch, self._dice = disk, watch, dice

    def random(self) -> None:
        """Kill something or empty Redis."""
        self.do(self._dice.choice(KINDS))

    def do(self, kind: str) -> None:
        """Do one harm; nothing where there is nothing to harm."""
        before = self._watch.rows()
        if kind == "flush":
            self._queue.flushdb()
        elif kind == "database":
            self._database.crash()
            time.sleep(self._dice.uniform(*DOWN_S))
            self._database.start()
        elif kind == "disk":
            if self._disk is None:
                return
            self._disk.fill()
            time.sleep(FULL_S)
            self._disk.free()
        elif kind in ("api", "supervisor"):
            self._parts.running["api" if kind == "api" else "workers"].kill()
        else:
            below = [pid for pid, what in self._parts.descendants().items() if what == kind]
            if not below:
                return
            try:
                os.kill(self._dice.choice(below), signal.SIGKILL)
            except ProcessLookupError:
                return
        self._watch.begin(kind, before=before)
        self.done[kind] += 1


class Callers(threading.Thread):
    """Sends films and asks for their analyses, as fast as the queue is short."""

    def __init__(self, client: httpx.Client, films: int, folder: Path) -> None:
        super().__init__(daemon=True)
        self.ids: list[str] = []
        self.error: Exception | None = None
        self._client, self._films, self._folder = client, films, folder

    def run(self) -> None:
        """Send all."""
        try:
            for seed in range(self._films):
                content = empty_court(self._folder / "film.mp4", seed).read_bytes()
                media = {"content-type": "video/mp4"}
                clip = patiently(self._client, "POST", "/v1/clips", content=content, headers=media)
                made = patiently(
                    self._client,
                    "POST",
                    "/v1/analyses",
                    json={"clip_id": clip.json()["id"]},
                    headers={"idempotency-key": f"film-{seed}"},
                )
                self.ids.append(made.json()["id"])
        except Exception as error:
            self.error = error


def run(arguments: argparse.Namespace, folder: Path) -> bool:
    """Run it and print what came of it; return whether nothing was lost and nothing doubled."""
    database = Postgres()
    store = FailingStore(arguments.store_fails, arguments.seed)
    try:
        disk: SmallDisk | None = SmallDisk()
    except RuntimeError as error:
        print(f"disk: not filled, {error}")
        disk = None
    try:
        return _run(arguments, folder, database, store, disk)
    finally:
        database.close()
        store.close()
        if disk is not None:
            disk.close()


def _run(
    arguments: argparse.Namespace,
    folder: Path,
    database: Postgres,
    store: FailingStore,
    disk: SmallDisk | None,
) -> bool:
    port = free_port()
    values = {
        "DATA_DIR": str(folder),
        "DATABASE_URL": database.url,
        "REDIS_URL": arguments.redis_url,
        "OBJECT_STORE": "s3",
        "S3_BUCKET": BUCKET,
        "S3_ENDPOINT_URL": store.url,
        "S3_REGION": "us-east-1",
        "S3_ACCESS_KEY_ID": "test",
        "S3_SECRET_ACCESS_KEY": "test",
        "PORT": str(port),
        "MODELS": '["blazepose_full"]',
        "LEASE_S": str(LEASE_S),
        "HEARTBEAT_S": "1",
        "RECONCILE_INTERVAL_S": "1",
        "REQUEUE_AFTER_S": "3",
        "MAX_ATTEMPTS": "50",
        "WEBHOOK_ALLOW_HTTP": "true",
        "WEBHOOK_PRIVATE_NETWORKS": '["127.0.0.0/8"]',
        "LOG_LEVEL": "warning",
    }
    if disk is not None:
        values["TMPDIR"] = str(disk.folder)
    environment = environment_of(values)
    subprocess.run([*PROGRAM, "migrate"], env=environment, check=True)
    queue = redis.Redis.from_url(arguments.redis_url)
    queue.flushdb()
    receiver, dice = Receiver(), random.Random(arguments.seed)
    log = (folder / "service.log").open("wb")
    parts = Parts(environment, arguments.workers, log)
    api = f"http://127.0.0.1:{port}"
    watch = Recovery(database.url, queue, api, LEASE_S)
    harms = Harms(parts, queue, database, disk, watch, dice)
    began = time.monotonic()
    client = httpx.Client(base_url=api, trust_env=False, timeout=20)
    parts.keep()
    try:
        while not (folder / "first-admin-key").exists():
            time.sleep(0.2)
            parts.keep()
        key = (folder / "first-admin-key").read_text().strip()
        client.headers["authorization"] = f"Bearer {key}"
        patiently(client, "POST", "/v1/webhook-endpoints", json={"url": receiver.url})
        callers = Callers(client, arguments.films, folder)
        callers.start()
        states = _harm_until_done(arguments, parts, harms, callers, receiver, watch, began, dice)
        ended_s = time.monotonic() - began
        unseen = watch.close()
        good = _told(arguments, database, store, callers, states, receiver, client_of(api, key))
    finally:
        client.close()
        parts.stop()
        receiver.close()
        log.close()
    print(f"{len(callers.ids)} analyses in {ended_s:.0f} s; {sum(harms.done.values())} harms")
    for kind, found in sorted(watch.seconds.items()):
        middle, worst = statistics.median(found), max(found)
        print(f"  {kind}: {harms.done[kind]}, recovered in {middle:.1f} s (worst {worst:.1f} s)")
    print(f"  not seen to recover: {unseen or 'none'}")
    print(f"store: {dict(store.counts)}")
    return good and callers.error is None


def client_of(api: str, key: str) -> httpx.Client:
    """Return a client for what is read at the end."""
    return httpx.Client(
        base_url=api, trust_env=False, timeout=20, headers={"authorization": f"Bearer {key}"}
    )


def _harm_until_done(
    arguments: argparse.Namespace,
    parts: Parts,
    harms: Harms,
    callers: Callers,
    receiver: Receiver,
    watch: Recovery,
    began: float,
    dice: random.Random,
) -> dict[str, str]:
    """Keep parts running and do harm until all has ended and was told; return the last states."""
    states: dict[str, str] = {}
    next_harm = time.monotonic() + 5
    # Once each, spread over the run.
    planned = {
        int(arguments.films * share): kind
        for share, kind in ((0.2, "database"), (0.4, "disk"), (0.6, "database"), (0.8, "database"))
    }
    while time.monotonic() - began < arguments.longest_s and callers.error is None:
        parts.keep()
        try:
            rows = watch.rows()
        except psycopg.Error:
            rows = {}
        states |= {one: row[0] for one, row in rows.items()}
        ended = sum(states.get(one) in FINAL for one in callers.ids)
        told = sum(receiver.told("analysis.completed", one) for one in callers.ids)
        if ended == told == arguments.films:
            break
        if ended < arguments.films and time.monotonic() >= next_harm and rows:
            due = [at for at in planned if ended >= at]
            if due:
                harms.do(planned.pop(due[0]))
            else:
                harms.random()
            next_harm = time.monotonic() + dice.uniform(*EVERY_S)
            print(f"{time.monotonic() - began:.0f} s: {ended} ended, {told} told", flush=True)
        time.sleep(0.2)
    return states


def _told(
    arguments: argparse.Namespace,
    database: Postgres,
    store: FailingStore,
    callers: Callers,
    states: dict[str, str],
    receiver: Receiver,
    client: httpx.Client,
) -> bool:
    """Count and print results, duplicates and webhooks; return whether all is well."""
    if callers.error is not None:
        print(f"a caller gave up: {callers.error!r}")
    count = collections.Counter(states.get(one, "lost") for one in callers.ids)
    with psycopg.connect(database.url) as connection:
        work = connection.execute("SELECT id, artifacts FROM work").fetchall()
        events = connection.execute(
            "SELECT subject, count(*) FROM outbox_events WHERE type = 'analysis.completed' "
            "GROUP BY subject HAVING count(*) > 1"
        ).fetchall()
        clips = connection.execute("SELECT count(*) FROM clips").fetchone()
    kept = store.keys()
    named = {file["key"] for _, artifacts in work for file in artifacts.values()}
    left = {key for key in kept if key.startswith("analyses/")} - named
    read = 0
    store.share = 0.0
    with client:
        for one in callers.ids:
            answer = patiently(client, "GET", f"/v1/analyses/{one}/result")
            read += answer.status_code == 200 and answer.json()["problems"] is not None
    missing = [one for one in callers.ids if not receiver.told("analysis.completed", one)]
    doubled = receiver.doubled()
    extra = len(work) - len(set(callers.ids))
    print(f"states: {dict(count)}; results read: {read}")
    lost = arguments.films - count["completed"]
    print(f"lost: {lost}; result files missing: {len(named - kept)}")
    print(f"duplicates: {extra} analyses, {len(events)} events; clips: {clips and clips[0]}")
    print(f"files of broken attempts still to be swept: {len(left)}")
    print(f"webhooks: {len(missing)} missing, {len(doubled)} with more than one id")
    return (
        count == {"completed": arguments.films}
        and read == arguments.films
        and not (extra or events or missing or doubled or named - kept)
    )
