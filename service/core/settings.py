"""All settings, in one frozen object, read once from ``SERVEWRIGHT_*`` environment variables.

The defaults are the embedded service: a SQLite file, a folder of objects and the socket of an
embedded Valkey server, all below ``data_dir``. An empty variable counts as not set. A variable with
the prefix that is not listed here is an error, so that a misspelt setting cannot pass unseen
(``SERVEWRIGHT_TEST_*`` belongs to the test suite and is left alone).
"""

from __future__ import annotations

import ipaddress
import os
import re
from pathlib import Path
from typing import Literal, Self

from pydantic import Field, SecretStr, field_validator, model_validator
from pydantic_settings import BaseSettings, SettingsConfigDict

from service.core.key_text import parse_key
from service.core.sockets import socket_in

PREFIX = "SERVEWRIGHT_"
TEST_PREFIX = "SERVEWRIGHT_TEST_"
DATABASE_SCHEMES = ("sqlite:///", "postgresql://", "postgresql+psycopg://")
REDIS_SCHEMES = ("redis://", "rediss://", "unix://")

_ORIGIN = re.compile(r"^https?://([a-z0-9.-]+|\[[0-9a-f:.]+\])(:[0-9]{1,5})?$")
"""An origin as browsers send it (RFC 6454 6.2): lower case, nothing after the port."""


def _default_data_dir() -> Path:
    base = os.environ.get("XDG_DATA_HOME") or Path.home() / ".local" / "share"
    return Path(base) / "servewright"


class Settings(BaseSettings):
    """Settings of the service and its workers. Secrets do not print."""

    model_config = SettingsConfigDict(
        env_prefix=PREFIX,
        env_ignore_empty=True,
        frozen=True,
        extra="forbid",
        hide_input_in_errors=True,  # an error would print the secrets with the rest
    )

    live_hold: bool = Field(
        default=False,
        description="Watch holds live at /hold and /v1/live-hold; needs `servewright hold "
        "--listen` beside the API, which `up` starts. Pictures are looked at and never kept.",
    )
    live_hold_sessions: int = Field(
        default=2, ge=1, le=64, description="Holds watched live at a time; half a core each."
    )

    data_dir: Path = Field(
        default_factory=_default_data_dir,
        description="Folder of the embedded stores; empty = servewright in the user's data folder "
        "(XDG_DATA_HOME, else ~/.local/share).",
    )
    log_level: Literal["debug", "info", "warning", "error"] = Field(
        default="info", description="Least severe log records that are written."
    )
    log_format: Literal["text", "json"] = Field(
        default="text", description="Log lines for people, or one JSON object each."
    )

    host: str = Field(default="127.0.0.1", description="Address the API listens on.")
    port: int = Field(default=8000, ge=0, le=65535, description="Port the API listens on.")
    api_connections: int = Field(
        default=1000,
        ge=16,
        description="Connections one process of the API holds; beyond it, the one that has sent "
        "no request for longest is closed.",
    )
    header_timeout_s: float = Field(
        default=10.0, gt=0, description="Seconds a caller has to send the headers of a request."
    )
    drain_s: int = Field(
        default=25, ge=0, description="Seconds that running requests get when the API is stopped."
    )
    public_url: str = Field(
        default="",
        description="Base of absolute links in webhooks, such as https://serve.example.org.",
    )

    database_url: SecretStr | None = Field(
        default=None,
        description="sqlite:///FILE or postgresql://…; empty = SQLite below data_dir.",
    )
    redis_url: SecretStr | None = Field(
        default=None, description="redis://…; empty = socket of the embedded server in data_dir."
    )
    queue_name: str | None = Field(
        default=None,
        pattern=r"^[a-z][a-z0-9_-]*$",
        description="Name of the job queue, the same for the API and its workers; empty = one of "
        "its own for each database, so that installations can share a server.",
    )

    object_store: Literal["local", "s3"] = Field(
        default="local", description="Where films and results are kept: data_dir or a bucket."
    )
    object_key_file: Path | None = Field(
        default=None,
        description="File of keys that seal objects on the local disk (`servewright object-key`); "
        "empty = they lie there as they are. With s3, use the bucket's own encryption.",
    )
    least_free_bytes: int = Field(
        default=256 * 1024**2,
        ge=0,
        description="Bytes that must stay free on the disk of data_dir; /readyz says when they "
        "are not.",
    )
    s3_bucket: str | None = Field(default=None, description="Bucket; needed with s3.")
    s3_prefix: str = Field(default="", description="What every key in the bucket begins with.")
    s3_region: str | None = Field(
        default=None, description="Region of the bucket; empty = as the AWS environment says."
    )
    s3_endpoint_url: str | None = Field(default=None, description="For S3-compatible servers.")
    s3_public_endpoint_url: str | None = Field(
        default=None, description="Endpoint in presigned addresses, when callers reach another."
    )
    s3_access_key_id: SecretStr | None = Field(
        default=None, description="Empty = the usual credential chain of AWS."
    )
    s3_secret_access_key: SecretStr | None = Field(
        default=None, description="Belongs to the access key."
    )
    presign_ttl_s: int = Field(
        default=900,
        ge=30,
        le=7 * 24 * 3600,
        description="Seconds for which a signed address of a file works.",
    )

    max_body_bytes: int = Field(default=256 * 1024, ge=1024, description="Largest JSON body.")
    max_clip_bytes: int = Field(default=1024**3, ge=1024, description="Largest film, in bytes.")
    max_joints_bytes: int = Field(
        default=32 * 1024**2, ge=1024, description="Largest file of joints, in bytes."
    )
    upload_kept_h: float = Field(
        default=72.0,
        gt=0,
        description="Hours for which an unfinished upload in parts waits for more.",
    )
    limit_link_requests_per_minute: int = Field(
        default=600,
        ge=0,
        description="Requests a minute from one address to pages without a key, and as many "
        "through one link; 0 = no limit.",
    )
    max_clip_duration_s: float = Field(default=120.0, gt=0, description="Longest film.")
    max_clip_pixels: int = Field(
        default=4096 * 2304, gt=0, description="Largest picture, width times height."
    )
    max_clip_frames: int = Field(default=20_000, gt=0, description="Most frames in a film.")
    max_clip_frame_rate: float = Field(
        default=480.0, gt=0, description="Highest frame rate, frames per second."
    )
    decode_memory_bytes: int = Field(
        default=1536 * 1024**2,
        ge=64 * 1024**2,
        description="Address space of the process that decodes one film.",
    )
    decode_cpu_s: int = Field(
        default=600, gt=0, description="Processor seconds that decoding one film may take."
    )
    decode_wall_s: int = Field(
        default=900, gt=0, description="Seconds that decoding one film may take."
    )

    models: tuple[str, ...] = Field(
        default=("blazepose_heavy", "movenet_thunder"),
        min_length=1,
        description="Pose networks, first = main one; their agreement enters the confidence.",
    )
    device: Literal["cpu", "cuda", "openvino"] = Field(
        default="cpu", description="What the networks run on; see infra/devices.md."
    )
    second_network_beside: bool = Field(
        default=True,
        description="Run the second network in a thread of its own: a lone film is done sooner,"
        " and nothing is lost where every core has work.",
    )
    engine_seed: int = Field(default=0, ge=0, description="Seed of the uncertainty propagation.")
    pictures: bool = Field(default=True, description="Draw the pictures of the events.")

    workers: int = Field(default=0, ge=0, description="Worker processes; 0 = one a usable core.")
    max_attempts: int = Field(default=3, ge=1, description="Crashes before an analysis fails.")
    lease_s: float = Field(
        default=20.0,
        gt=0,
        description="Silent this long, a worker counts as lost; at least twice heartbeat_s.",
    )
    heartbeat_s: float = Field(
        default=5.0, gt=0, description="Seconds between a worker's signs of life."
    )
    job_timeout_s: int = Field(default=1800, gt=0, description="Longest run of one job.")
    requeue_after_s: float = Field(
        default=30.0, gt=0, description="Queued this long and unknown to Redis: enqueue again."
    )
    reconcile_interval_s: float = Field(
        default=10.0, gt=0, description="Seconds between two looks for lost or stuck work."
    )
    vacuum_interval_s: float = Field(
        default=3600.0,
        gt=0,
        description="PostgreSQL: seconds between two rounds that write tables anew to get erased "
        "rows out of their files; see infra/erasure.md.",
    )
    background: bool = Field(
        default=True, description="Run the reconciler and the webhook sender inside the API."
    )

    webhook_interval_s: float = Field(
        default=1.0, gt=0, description="Seconds between two looks for webhooks to send."
    )
    webhook_timeout_s: float = Field(
        default=15.0, gt=0, le=30, description="Seconds a receiver has to answer."
    )
    webhook_requests: int = Field(
        default=16, ge=1, le=256, description="Webhooks that one process sends at a time."
    )
    webhook_requests_per_endpoint: int = Field(
        default=4,
        ge=1,
        le=64,
        description="Webhooks one endpoint is sent at a time; one while it does not answer.",
    )
    webhook_log_days: float = Field(
        default=30.0, gt=0, description="Days for which tries to deliver stay in the log."
    )
    webhook_allow_http: bool = Field(default=False, description="Allow webhook targets on http.")
    webhook_private_networks: tuple[str, ...] = Field(
        default=(), description='Private ranges webhooks may reach, such as ["127.0.0.0/8"].'
    )

    cors_origins: tuple[str, ...] = Field(
        default=(),
        description="Origins whose pages may call the API from a browser, such as "
        '["https://app.example.org"]; none unless set.',
    )

    idempotency_ttl_h: float = Field(
        default=24.0, gt=0, description="Hours for which an Idempotency-Key is remembered."
    )

    keep_films_days: int = Field(
        default=0, ge=0, description="Days for which films are kept; 0 = until erased."
    )
    keep_minors_films_days: int = Field(
        default=90,
        ge=0,
        description="Days for which films of possible minors are kept, unless a consent says "
        "longer; 0 = as those of others.",
    )
    keep_joints_days: int = Field(
        default=0, ge=0, description="Days for which joints of each frame are kept; 0 = for good."
    )
    keep_reports_days: int = Field(
        default=0, ge=0, description="Days for which reports and pictures are kept; 0 = for good."
    )

    first_key: SecretStr | None = Field(
        default=None,
        description="The first admin key, from `servewright keys generate`; empty = one is made "
        "and written to first_key_file.",
    )
    first_key_file: Path | None = Field(
        default=None,
        description="File the first admin key is written to, mode 0600; empty = "
        "first-admin-key in data_dir. Remove it once the key is kept elsewhere.",
    )
    limit_requests_per_minute: int = Field(
        default=0, ge=0, description="Requests an organisation may send a minute; 0 = no limit."
    )
    limit_films_per_month: int = Field(
        default=0, ge=0, description="Films an organisation may send a month; 0 = no limit."
    )
    limit_stored_bytes: int = Field(
        default=0, ge=0, description="Bytes of films an organisation may keep; 0 = no limit."
    )
    limit_waiting_work: int = Field(
        default=0, ge=0, description="Work of an organisation that may wait; 0 = no limit."
    )
    limit_processor_s_per_month: int = Field(
        default=0,
        ge=0,
        description="Processor seconds an organisation may use a month; 0 = no limit.",
    )

    @model_validator(mode="before")
    @classmethod
    def _no_unknown_variables(cls, values: object) -> object:
        known = {PREFIX + name.upper() for name in cls.model_fields}
        unknown = sorted(
            name
            for name in os.environ
            if name.upper().startswith(PREFIX)
            and not name.upper().startswith(TEST_PREFIX)
            and name.upper() not in known
        )
        if unknown:
            raise ValueError(f"unknown settings in the environment: {', '.join(unknown)}")
        return values

    @field_validator("database_url")
    @classmethod
    def _database(cls, value: SecretStr | None) -> SecretStr | None:
        if value is not None and not value.get_secret_value().startswith(DATABASE_SCHEMES):
            raise ValueError(f"must begin with {' or '.join(DATABASE_SCHEMES)}")
        return value

    @field_validator("redis_url")
    @classmethod
    def _redis(cls, value: SecretStr | None) -> SecretStr | None:
        if value is not None and not value.get_secret_value().startswith(REDIS_SCHEMES):
            raise ValueError(f"must begin with {' or '.join(REDIS_SCHEMES)}")
        return value

    @field_validator("first_key")
    @classmethod
    def _key(cls, value: SecretStr | None) -> SecretStr | None:
        if value is not None and parse_key(value.get_secret_value()) is None:
            raise ValueError("is no API key; make one with: servewright keys generate")
        return value

    @field_validator("webhook_private_networks")
    @classmethod
    def _networks(cls, values: tuple[str, ...]) -> tuple[str, ...]:
        for value in values:
            ipaddress.ip_network(value)
        return values

    @field_validator("cors_origins")
    @classmethod
    def _origins(cls, values: tuple[str, ...]) -> tuple[str, ...]:
        for value in values:
            if not _ORIGIN.match(value):
                raise ValueError(
                    f"{value!r} is no origin: write scheme, host and port, as browsers do, such as "
                    "https://app.example.org"
                )
        return values

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        if self.object_store == "s3" and not self.s3_bucket:
            raise ValueError(f"{PREFIX}OBJECT_STORE=s3 needs {PREFIX}S3_BUCKET")
        if self.object_store == "s3" and self.object_key_file is not None:
            raise ValueError(f"{PREFIX}OBJECT_KEY_FILE: with s3, use the bucket's own encryption")
        if self.heartbeat_s * 2 > self.lease_s:
            raise ValueError("lease_s must be at least twice heartbeat_s")
        return self

    @property
    def database_address(self) -> str:
        """URL of the database, the embedded default included."""
        if self.database_url is not None:
            scheme, rest = self.database_url.get_secret_value().split("://", 1)
            return f"{'postgresql+psycopg' if scheme == 'postgresql' else scheme}://{rest}"
        return f"sqlite:///{self.data_dir.resolve() / 'servewright.db'}"

    @property
    def redis_address(self) -> str:
        """URL of the Redis or Valkey server, the embedded default included."""
        if self.redis_url is not None:
            return self.redis_url.get_secret_value()
        return f"unix://{self.valkey_socket}?db=0"

    @property
    def embedded_redis(self) -> bool:
        """Whether the queue is the embedded server (nobody configured one)."""
        return self.redis_url is None

    @property
    def valkey_socket(self) -> Path:
        """Unix socket of the embedded Valkey server."""
        return socket_in(self.data_dir, "valkey.sock")

    @property
    def live_hold_socket(self) -> Path:
        """Unix socket between the API and the process that watches holds live."""
        return socket_in(self.data_dir, "hold.sock", "hold-")

    @property
    def first_key_path(self) -> Path:
        """File that the first admin key is written to, the default included."""
        return self.first_key_file or self.data_dir.resolve() / "first-admin-key"

    @property
    def object_dir(self) -> Path:
        """Folder of the local object store."""
        return self.data_dir.resolve() / "objects"
