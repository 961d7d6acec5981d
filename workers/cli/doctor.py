"""``servewright doctor``: looks at every part of the installation and says what to do."""

from __future__ import annotations

import importlib.metadata
import platform
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import typer
from rich.table import Column, Table

from models.contract.errors import ServewrightError
from workers.cli.console import Exit, guarded, results

if TYPE_CHECKING:
    from models.registry import LearnedEntry
    from service.core.settings import Settings


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """What was found at one place.

    ``advice`` is what to do; empty when all is well. ``required`` parts make the command fail.
    """

    part: str
    good: bool
    detail: str
    advice: str = ""
    required: bool = True


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("doctor")(doctor)


@guarded
def doctor() -> None:
    """Check model files, database, queue, object store and libraries; say what to do."""
    from service.core.settings import Settings

    settings = Settings()
    findings = [
        *versions(),
        *model_files(settings),
        _guarded("device", lambda: device(settings)),
        _guarded("networks in a forked job", lambda: forked_networks(settings)),
        _guarded("decoder's room", decoder_room),
        _guarded("database", lambda: database(settings)),
        _guarded("queue", lambda: queue(settings)),
        _guarded("workers", lambda: workers(settings)),
        _guarded("object store", lambda: object_store(settings)),
    ]
    table = Table("", "part", Column("found", overflow="fold"), "what to do")
    for finding in findings:
        mark = "[green]ok[/]" if finding.good else "[red]no[/]" if finding.required else "–"
        table.add_row(mark, finding.part, finding.detail, finding.advice)
    results().print(table)
    if any(finding.required and not finding.good for finding in findings):
        raise typer.Exit(Exit.INSTALLATION)


def _guarded(part: str, check: Callable[[], Diagnosis]) -> Diagnosis:
    try:
        return check()
    except ServewrightError as error:
        return Diagnosis(part, False, error.code, error.detail)
    except Exception as error:
        return Diagnosis(part, False, type(error).__name__, str(error)[:300])


def versions() -> list[Diagnosis]:
    """Return the versions that matter for security and results: two FFmpegs are bundled."""
    import av
    import cv2
    import onnxruntime

    bundled = ", ".join(
        f"{name} {'.'.join(map(str, number))}"
        for name, number in sorted(av.library_versions.items())
        if name in {"libavcodec", "libavformat"}
    )
    build = [line.strip() for line in cv2.getBuildInformation().splitlines()]
    decoder = ", ".join(line for line in build if line.startswith(("avcodec:", "avformat:")))
    return [
        Diagnosis("python", True, f"{platform.python_version()} on {platform.platform()}"),
        Diagnosis("servewright", True, _version("servewright")),
        Diagnosis("opencv (decoder)", "avcodec" in decoder, f"{cv2.__version__}, FFmpeg {decoder}"),
        Diagnosis("av (probe)", True, f"{av.__version__}, FFmpeg {bundled}"),
        Diagnosis("onnxruntime", True, onnxruntime.__version__),
    ]


def model_files(settings: Settings) -> list[Diagnosis]:
    """Verify the SHA-256 of every shipped network and learned file, and the choice of networks."""
    from models import registry

    found: list[Diagnosis] = []
    for name in registry.names():
        entry = registry.entry(name)

        def check(
            name: str = name, size: int = entry.bytes, digest: str = entry.sha256
        ) -> Diagnosis:
            registry.load(name)
            return Diagnosis(f"model {name}", True, f"{size / 1e6:.1f} MB, sha256 {digest[:12]}…")

        found.append(_guarded(f"model {name}", check))
    for record in registry.learned():

        def learned(record: LearnedEntry = record) -> Diagnosis:
            registry.load_learned(record.name)
            size = f"{record.bytes / 1e6:.2f} MB"
            return Diagnosis(
                f"learned {record.name}", True, f"{size}, sha256 {record.sha256[:12]}…"
            )

        found.append(_guarded(f"learned {record.name}", learned))
    return [*found, _guarded("models chosen", lambda: _chosen(settings))]


def _chosen(settings: Settings) -> Diagnosis:
    from workers.pipeline.stages import pose_choice

    pose_choice(settings.models, settings.device)
    detail = f"{', '.join(settings.models)} on {settings.device}"
    return Diagnosis("models chosen", True, detail)


def device(settings: Settings) -> Diagnosis:
    """Run one picture through every network on the device in use, and compare with the CPU."""
    from workers.pose.agreement import TOLERANCE, agreement
    from workers.pose.choice import FINDER
    from workers.pose.session import Device

    asked = Device(settings.device)
    found = [agreement(name, asked) for name in (FINDER, *settings.models)]
    worst = max(found, key=lambda one: one.largest)
    detail = (
        f"{asked.value}: one picture, largest difference from the CPU {worst.largest:.1e} of an "
        f"output's range ({worst.output} of {worst.network}), {TOLERANCE:g} is allowed"
    )
    good = worst.largest <= TOLERANCE
    advice = "" if good else "Results will differ from those of a CPU. Set SERVEWRIGHT_DEVICE=cpu."
    return Diagnosis("device", good, detail, advice)


def forked_networks(settings: Settings) -> Diagnosis:
    """Tell whether jobs inherit the networks of their worker, or must load their own."""
    from workers.processes.boot import preload

    part = "networks in a forked job"
    if preload(settings):
        return Diagnosis(part, True, "inherited by each job")
    return Diagnosis(part, False, "each job loads its own", "Works, a little slower.", False)


def decoder_room() -> Diagnosis:
    """Tell what keeps a film that has taken its decoder over from everything else."""
    from workers.video.room import left_open, walls_here

    walls = walls_here()
    found = [f"OPEN: {one}" for one in left_open(walls)]
    if walls.calls:
        found.append("only listed system calls")
    if walls.files:
        found.append(f"only its film (Landlock {walls.files})")
    found.append("no capabilities, limited memory and time")
    good = walls.calls and walls.files > 0
    advice = (
        "Use Linux 5.13 or later with seccomp and Landlock (in a container: a profile that allows "
        "them), and a user of its own for the workers."
    )
    return Diagnosis("decoder's room", good, "; ".join(found), "" if good else advice, False)


def database(settings: Settings) -> Diagnosis:
    """Check that the database answers and is at the newest revision."""
    from models.contract.errors import DatabaseUnavailable
    from service.core.database import Database, revision_present, revision_wanted

    opened = Database(settings.database_address)
    try:
        opened.ping()
        present, wanted = revision_present(opened), revision_wanted()
    except DatabaseUnavailable:
        url = opened.engine.url  # shown without its password
        advice = "Start the server, make the file readable, or correct SERVEWRIGHT_DATABASE_URL."
        return Diagnosis("database", False, f"{url} does not answer", advice)
    finally:
        opened.close()
    kind = "SQLite" if opened.is_sqlite else "PostgreSQL"
    good = present == wanted
    return Diagnosis(
        "database",
        good,
        f"{kind}, revision {present or 'none'}",
        "" if good else "Run `servewright migrate` (`servewright up` does it by itself).",
    )


def _queue_name(settings: Settings) -> str:
    """Return the name of the queue; where the database does not tell, one that nobody uses."""
    from models.contract.errors import DatabaseUnavailable
    from service.core.database import Database
    from service.core.installation import queue_name_of

    database = Database(settings.database_address)
    try:
        return queue_name_of(settings, database)
    except DatabaseUnavailable:  # said by the check of the database
        return "unknown"
    finally:
        database.close()


def queue(settings: Settings) -> Diagnosis:
    """Check the queue server: that it answers, and that it never evicts work."""
    from redis.exceptions import RedisError

    from service.core.kinds import Lane
    from service.core.queue import connect, queue_of

    if settings.embedded_redis and not settings.valkey_socket.exists():
        return Diagnosis(
            "queue", False, "embedded, not running", "`servewright up` starts it.", required=False
        )
    client = connect(settings.redis_address)
    try:
        server = client.info("server")
        version = server.get("valkey_version") or server.get("redis_version")
        policy = client.info("memory").get("maxmemory_policy", "unknown")
        name = _queue_name(settings)
        waiting = ", ".join(
            f"{client.llen(f'rq:queue:{queue_of(name, lane)}')} waiting ({lane})" for lane in Lane
        )
    except RedisError as error:
        advice = "Start the server, or correct SERVEWRIGHT_REDIS_URL."
        return Diagnosis("queue", False, str(error)[:200], advice)
    finally:
        client.close()
    good = policy == "noeviction"
    return Diagnosis(
        "queue",
        good,
        f"version {version}, {waiting}, maxmemory-policy {policy}",
        "" if good else "Set maxmemory-policy noeviction: eviction drops jobs silently.",
        required=False,
    )


def workers(settings: Settings) -> Diagnosis:
    """Tell which worker processes take work, on this machine and others."""
    from service.core.wiring import wire

    if settings.embedded_redis and not settings.valkey_socket.exists():
        return Diagnosis("workers", False, "not running", "`servewright up` starts them.", False)
    wired = wire(settings)
    try:
        found = wired.overview.workers()
        lanes = wired.overview.lanes()
    finally:
        wired.close()
    by_lane = ", ".join(
        f"{sum(one.lane is lane.lane for one in found)} for {lane.lane} work "
        f"({lane.queued} waiting, oldest {lane.oldest_s:.0f} s; {lane.running} at work, "
        f"{lane.lapsed} with a lapsed lease)"
        for lane in lanes
    )
    missing = [lane.lane for lane in lanes if not any(one.lane is lane.lane for one in found)]
    advice = f"Start workers (`servewright worker`): none takes {', '.join(missing)} work."
    return Diagnosis("workers", not missing, by_lane, advice if missing else "", False)


def object_store(settings: Settings) -> Diagnosis:
    """Check that an object can be written, read and removed."""
    from service.core.wiring import open_objects

    objects = open_objects(settings)
    key, data = "doctor/probe", b"servewright"
    objects.ping()
    objects.put_bytes(key, data, "text/plain")
    with objects.open(key) as stream:
        same = stream.read() == data
    objects.delete(key)
    where = settings.s3_bucket if settings.object_store == "s3" else str(settings.object_dir)
    return Diagnosis(
        "object store",
        same,
        f"{settings.object_store}: {where}",
        "" if same else "It does not return what was written. Check the store.",
    )


def _version(package: str) -> str:
    try:
        return importlib.metadata.version(package)
    except importlib.metadata.PackageNotFoundError:
        return "run from the source tree"
