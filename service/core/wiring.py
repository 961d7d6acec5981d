"""The composition root: the one module that turns settings into adapters."""

from __future__ import annotations

import os
import secrets
import socket
from dataclasses import dataclass
from datetime import timedelta

from pydantic import SecretStr

from models.contract.errors import InvalidRequest
from service.core import lifecycle
from service.core.access import Keys
from service.core.arrivals import Arrivals
from service.core.audit import AuditLog
from service.core.background import Background
from service.core.branding import Brandings
from service.core.clips import ClipStore
from service.core.consents import Consents
from service.core.costs import CostStore
from service.core.database import Database
from service.core.deliveries import DeliveryQueue
from service.core.delivery_log import DeliveryLog
from service.core.direct import DirectUploads
from service.core.egress import Egress
from service.core.endpoints import EndpointStore
from service.core.erasure import Eraser
from service.core.export import PlayerExport
from service.core.filing import Filing
from service.core.guests import Guests
from service.core.idempotency import Idempotency
from service.core.installation import queue_name_of
from service.core.intake_links import IntakeLinks
from service.core.keeping import Keeping, Rule
from service.core.limits import Limits
from service.core.multipart import MultipartUploads
from service.core.objects import LocalObjects, Objects
from service.core.objects.key_file import MARKER, keys_in
from service.core.operations import Operations
from service.core.organisations import Organisations
from service.core.orphans import OrphanSweep
from service.core.overview import Overview
from service.core.own_lines import OwnLines
from service.core.players import PlayerStore
from service.core.queue import WorkQueue
from service.core.quotas import Quotas
from service.core.rates import RateLimiter
from service.core.receipts import Receipts
from service.core.reconciler import Reconciler
from service.core.requests import WorkRequests
from service.core.resumable import ResumableUploads
from service.core.retention import RetentionReminder
from service.core.rulefiles import RuleFiles
from service.core.sender import Sender
from service.core.settings import Settings
from service.core.share_links import ShareLinks
from service.core.sweep import ErasureSweep
from service.core.tallies import Tallies
from service.core.traces import Traces
from service.core.voices import Voices
from service.core.work import WorkStore

ANNOUNCED_MARGIN_S = 24 * 3600
"""A clip announced for direct upload is kept so many seconds longer than its address is good."""


@dataclass(frozen=True, slots=True)
class Wiring:
    """Everything a process of the service works with."""

    settings: Settings
    database: Database
    objects: Objects
    queue: WorkQueue
    clips: ClipStore
    direct: DirectUploads
    multipart: MultipartUploads
    uploads: ResumableUploads
    arrivals: Arrivals
    consents: Consents
    audit: AuditLog
    export: PlayerExport
    keeping: Keeping
    intake_links: IntakeLinks
    share_links: ShareLinks
    guests: Guests
    work: WorkStore
    costs: CostStore
    requests: WorkRequests
    players: PlayerStore
    rule_files: RuleFiles
    own_lines: OwnLines
    voices: Voices
    brandings: Brandings
    overview: Overview
    operations: Operations
    tallies: Tallies
    eraser: Eraser
    filing: Filing
    receipts: Receipts
    keys: Keys
    organisations: Organisations
    quotas: Quotas
    rates: RateLimiter
    endpoints: EndpointStore
    deliveries: DeliveryLog
    idempotency: Idempotency
    egress: Egress
    traces: Traces
    holder: str

    def reconciler(self) -> Reconciler:
        """Return the reconciler of this process."""
        return Reconciler(
            self.database,
            self.work,
            self.queue,
            erasures=ErasureSweep(self.database, self.objects, self.receipts),
            reminder=RetentionReminder(self.database, self.settings.public_url),
            orphans=OrphanSweep(self.database, self.objects),
            keeping=self.keeping,
            uploads=self.uploads,
            arrivals=self.arrivals,
            intake_links=self.intake_links,
            holder=self.holder,
            interval_s=self.settings.reconcile_interval_s,
            idempotency_ttl_h=self.settings.idempotency_ttl_h,
            webhook_log_days=self.settings.webhook_log_days,
            announced_ttl_s=self.settings.presign_ttl_s + ANNOUNCED_MARGIN_S,
        )

    def sender(self) -> Sender:
        """Return the webhook sender of this process."""
        settings = self.settings
        deliveries = DeliveryQueue(
            self.database,
            settings.webhook_timeout_s,
            settings.webhook_requests_per_endpoint,
            settings.public_url,
        )
        return Sender(
            self.database,
            self.egress,
            deliveries,
            settings.webhook_timeout_s,
            settings.webhook_requests,
            self.traces,
        )

    def background(self) -> Background:
        """Return the two loops, not yet started."""
        return Background(
            self.reconciler(),
            self.settings.reconcile_interval_s,
            self.sender(),
            self.settings.webhook_interval_s,
        )

    def close(self) -> None:
        """Close connections; what was traced is sent."""
        self.traces.close()
        self.queue.close()
        self.database.close()


def wire(settings: Settings, traces: Traces | None = None) -> Wiring:
    """Build the adapters. Opens nothing yet: connections are made at first use.

    Parameters
    ----------
    traces : Traces or None
        Records spans; None = as the environment says.
    """
    database = Database(settings.database_address)
    policy = lifecycle.Policy(settings.lease_s, settings.max_attempts, settings.requeue_after_s)
    objects = open_objects(settings)
    egress = Egress(settings.webhook_private_networks, allow_http=settings.webhook_allow_http)
    queue = WorkQueue(
        settings.redis_address,
        lambda: queue_name_of(settings, database),
        settings.job_timeout_s,
    )
    # RQ stops a job at most 60 s after its limit; nothing can be written any later.
    sweep_s = settings.job_timeout_s + 120 + settings.lease_s
    receipts = Receipts(database, settings.vacuum_interval_s)
    eraser = Eraser(database, objects, queue, receipts, sweep_s)
    quotas = Quotas(database, Limits.of_settings(settings))
    multipart = MultipartUploads(database, objects, settings.presign_ttl_s)
    clips = ClipStore(database, objects, eraser, quotas)
    work = WorkStore(database, policy, quotas, settings.public_url)
    rates = RateLimiter(queue)
    players, requests = PlayerStore(database), WorkRequests(work)
    kept = timedelta(hours=settings.upload_kept_h)
    uploads = ResumableUploads(database, objects, quotas, settings.max_clip_bytes, kept)
    return Wiring(
        settings=settings,
        database=database,
        objects=objects,
        queue=queue,
        clips=clips,
        direct=DirectUploads(
            clips, objects, multipart, settings.max_clip_bytes, settings.presign_ttl_s
        ),
        multipart=multipart,
        uploads=uploads,
        arrivals=Arrivals(database, objects, uploads, clips, players, requests, queue),
        consents=Consents(database),
        audit=AuditLog(database),
        export=PlayerExport(database, objects),
        keeping=Keeping(database, Rule.of_settings(settings)),
        intake_links=IntakeLinks(database),
        share_links=ShareLinks(database),
        guests=Guests(database, rates, settings.limit_link_requests_per_minute),
        work=work,
        costs=CostStore(database),
        requests=requests,
        players=players,
        rule_files=RuleFiles(database),
        own_lines=OwnLines(database),
        voices=Voices(database, objects),
        brandings=Brandings(database),
        overview=Overview(database, queue),
        operations=Operations(database),
        tallies=Tallies(queue),
        eraser=eraser,
        filing=Filing(database),
        receipts=receipts,
        keys=Keys(database),
        organisations=Organisations(database, Keys(database)),
        quotas=quotas,
        rates=rates,
        endpoints=EndpointStore(database, egress, settings.public_url),
        deliveries=DeliveryLog(database),
        idempotency=Idempotency(database, settings.idempotency_ttl_h),
        egress=egress,
        traces=traces or Traces(),
        holder=f"{socket.gethostname()}:{os.getpid()}:{secrets.token_hex(4)}",
    )


def open_objects(settings: Settings) -> Objects:
    """Return the object store of these settings."""
    if settings.object_store == "local":
        return _local_objects(settings)
    assert settings.s3_bucket is not None
    from service.core.objects.s3 import S3Objects  # takes long to import

    return S3Objects(
        settings.s3_bucket,
        prefix=settings.s3_prefix,
        region=settings.s3_region,
        endpoint_url=settings.s3_endpoint_url,
        public_endpoint_url=settings.s3_public_endpoint_url,
        access_key_id=_plain(settings.s3_access_key_id),
        secret_access_key=_plain(settings.s3_secret_access_key),
    )


def _local_objects(settings: Settings) -> Objects:
    """Return the local folder, sealed where there is a key; refuse one whose key is not named."""
    local = LocalObjects(settings.object_dir, settings.least_free_bytes)
    marker = settings.data_dir / MARKER
    if settings.object_key_file is not None:
        from service.core.objects.encrypted import EncryptedObjects  # takes long to import

        sealed = EncryptedObjects(local, keys_in(settings.object_key_file))
        marker.parent.mkdir(parents=True, exist_ok=True)
        marker.touch()
        return sealed
    if marker.exists():
        raise InvalidRequest(
            "Objects of this installation are sealed. Name the file of their keys in "
            "SERVEWRIGHT_OBJECT_KEY_FILE."
        )
    return local


def _plain(value: SecretStr | None) -> str | None:
    return value.get_secret_value() if value is not None else None
