"""Object store on any S3 API. Only the modules called ``s3…`` import boto3."""

from __future__ import annotations

import io
import logging
import time
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO, cast

import boto3
from boto3.s3.transfer import TransferConfig
from botocore.config import Config

from models.contract.errors import ObjectStoreUnavailable
from models.contract.note_codes import NoteCode, say
from service.core.objects.port import (
    ByteRange,
    ObjectInfo,
    ObjectMissing,
    PresignedUpload,
    checked_key,
)
from service.core.objects.s3_errors import translated
from service.core.objects.s3_parts import S3Parts

if TYPE_CHECKING:
    from mypy_boto3_s3.client import S3Client

logger = logging.getLogger(__name__)

PART_BYTES = 8 * 1024**2
"""Size of a part of a multipart upload, bytes; the protocol asks for at least 5 MiB."""
_READ = 1 << 18
"""Bytes that are read from a reply at a time."""
PROBE_KEY = "probe/ready"
"""Object that is written to see whether the bucket takes any bytes."""
PROBE_BYTES = 1024
"""Its size, bytes."""
PROBE_INTERVAL_S = 30.0
"""Seconds between two such writes of a process: each is paid for (working value)."""
_TRANSFER = TransferConfig(
    multipart_threshold=PART_BYTES, multipart_chunksize=PART_BYTES, use_threads=False
)


class S3Objects:
    """Objects in one bucket, below an optional prefix.

    Notes
    -----
    boto3 1.36 and later adds checksums that many S3-compatible servers refuse; with an endpoint
    of one's own they are sent only where the protocol requires them.
    """

    def __init__(
        self,
        bucket: str,
        *,
        prefix: str = "",
        region: str | None = None,
        endpoint_url: str | None = None,
        public_endpoint_url: str | None = None,
        access_key_id: str | None = None,
        secret_access_key: str | None = None,
    ) -> None:
        self._bucket = bucket
        self._probed_at = -PROBE_INTERVAL_S
        self._prefix = prefix.strip("/") + "/" if prefix.strip("/") else ""

        def client(endpoint: str | None) -> S3Client:
            checksums: dict[str, Any] = {}
            if endpoint:
                checksums = {
                    "request_checksum_calculation": "when_required",
                    "response_checksum_validation": "when_required",
                }
            return boto3.session.Session().client(
                "s3",
                region_name=region or ("us-east-1" if endpoint else None),
                endpoint_url=endpoint,
                aws_access_key_id=access_key_id,
                aws_secret_access_key=secret_access_key,
                config=Config(
                    signature_version="s3v4",
                    connect_timeout=5,
                    read_timeout=30,
                    retries={"mode": "standard", "max_attempts": 3},
                    s3={"addressing_style": "path"} if endpoint else {},
                    **checksums,
                ),
            )

        self._client = client(endpoint_url)
        public = public_endpoint_url or endpoint_url
        self._signer = self._client if public == endpoint_url else client(public)
        self.parts = S3Parts(self._client, self._signer, bucket, self._key)

    def upload(self, key: str, media_type: str) -> _S3Upload:
        """Begin to write an object as an S3 multipart upload."""
        return _S3Upload(self._client, self._bucket, self._key(key), key, media_type)

    def put_bytes(self, key: str, data: bytes, media_type: str) -> ObjectInfo:
        """Write a whole object from memory."""
        with translated(key):
            self._client.put_object(
                Bucket=self._bucket, Key=self._key(key), Body=data, ContentType=media_type
            )
        return ObjectInfo(key, len(data), media_type)

    def stat(self, key: str) -> ObjectInfo:
        """Return size and type of an object."""
        with translated(key):
            head = self._client.head_object(Bucket=self._bucket, Key=self._key(key))
        return ObjectInfo(key, head["ContentLength"], head.get("ContentType"))

    def open(self, key: str, part: ByteRange | None = None) -> BinaryIO:
        """Open an object or a part of it as a stream."""
        extra: dict[str, Any] = {}
        if part is not None:
            extra["Range"] = f"bytes={part.first}-{part.last}"
        with translated(key):
            reply = self._client.get_object(Bucket=self._bucket, Key=self._key(key), **extra)
        return cast(BinaryIO, io.BufferedReader(_Body(key, reply["Body"]), _READ))

    def fetch(self, key: str, path: Path) -> None:
        """Copy an object into a file."""
        with translated(key):
            self._client.download_file(self._bucket, self._key(key), str(path), Config=_TRANSFER)

    def delete(self, key: str) -> None:
        """Remove an object, and every older version where the bucket keeps them."""
        self._delete_versions(self._key(key), exact=True)

    def delete_prefix(self, prefix: str) -> int:
        """Remove every object below a prefix, versions and unfinished uploads included."""
        full = self._key(prefix) + "/"
        count = sum(1 for _ in self.list(prefix))
        self._delete_versions(full, exact=False)
        with translated(prefix):
            uploads = self._client.list_multipart_uploads(Bucket=self._bucket, Prefix=full)
            for upload in uploads.get("Uploads", []):
                self._client.abort_multipart_upload(
                    Bucket=self._bucket, Key=upload["Key"], UploadId=upload["UploadId"]
                )
        return count

    def list(self, prefix: str = "") -> Iterator[ObjectInfo]:
        """Yield the objects below a prefix, in the order of their keys."""
        full = self._key(prefix) + "/" if prefix else self._prefix
        with translated(prefix):
            pages = self._client.get_paginator("list_objects_v2").paginate(
                Bucket=self._bucket, Prefix=full
            )
            for page in pages:
                for found in page.get("Contents", []):
                    yield ObjectInfo(found["Key"][len(self._prefix) :], found["Size"])

    def drop_unfinished(self, older_than: datetime) -> int:
        """Abort multipart uploads that a crash cut off."""
        count = 0
        with translated("uploads"):
            pages = self._client.get_paginator("list_multipart_uploads").paginate(
                Bucket=self._bucket, Prefix=self._prefix
            )
            for page in pages:
                for upload in page.get("Uploads", []):
                    if upload["Initiated"] < older_than:
                        self._client.abort_multipart_upload(
                            Bucket=self._bucket, Key=upload["Key"], UploadId=upload["UploadId"]
                        )
                        count += 1
        return count

    def presign_upload(
        self, key: str, media_type: str, max_bytes: int, ttl_s: int
    ) -> PresignedUpload | None:
        """Return a POST form; its policy bounds the size, which a presigned PUT cannot."""
        with translated(key):
            form = self._signer.generate_presigned_post(
                self._bucket,
                self._key(key),
                Fields={"Content-Type": media_type},
                Conditions=[
                    {"Content-Type": media_type},
                    ["content-length-range", 1, max_bytes],
                ],
                ExpiresIn=ttl_s,
            )
        return PresignedUpload(form["url"], dict(form["fields"]), ttl_s)

    def ping(self) -> None:
        """Ask for the bucket, and now and then write a few bytes into it."""
        try:
            with translated(PROBE_KEY):
                self._client.head_bucket(Bucket=self._bucket)
        except ObjectMissing:
            logger.warning("the bucket %s does not exist", self._bucket)
            raise ObjectStoreUnavailable(say(NoteCode.BUCKET_MISSING)) from None
        if time.monotonic() - self._probed_at >= PROBE_INTERVAL_S:
            self.put_bytes(PROBE_KEY, bytes(PROBE_BYTES), "application/octet-stream")
            self.delete(PROBE_KEY)
            self._probed_at = time.monotonic()

    def _key(self, key: str) -> str:
        return self._prefix + checked_key(key)

    def _delete_versions(self, full: str, *, exact: bool) -> None:
        with translated(full):
            pages = self._client.get_paginator("list_object_versions").paginate(
                Bucket=self._bucket, Prefix=full
            )
            for page in pages:
                batch = [
                    {"Key": entry["Key"], "VersionId": entry["VersionId"]}
                    for entry in (*page.get("Versions", []), *page.get("DeleteMarkers", []))
                    if not exact or entry["Key"] == full
                ]
                for entry in batch:  # one by one: bulk delete needs a checksum some refuse
                    self._client.delete_object(
                        Bucket=self._bucket, Key=entry["Key"], VersionId=entry["VersionId"]
                    )


class _Body(io.RawIOBase):
    """The bytes of a reply; one that is cut off in the middle is the store's fault, and said so."""

    def __init__(self, key: str, stream: Any) -> None:
        self._key = key
        self._stream = stream

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: memoryview) -> int:  # type: ignore[override]
        with translated(self._key):
            data = self._stream.read(len(buffer))
        buffer[: len(data)] = data
        return len(data)

    def close(self) -> None:
        self._stream.close()
        super().close()


class _S3Upload:
    """Buffers one part at a time; a small object goes in a single PUT."""

    def __init__(self, client: S3Client, bucket: str, full: str, key: str, media_type: str) -> None:
        self._client = client
        self._where: dict[str, Any] = {"Bucket": bucket, "Key": full}
        self._key = key
        self._media_type = media_type
        self._buffer = bytearray()
        self._size = 0
        self._id: str | None = None
        self._parts: list[dict[str, Any]] = []

    def write(self, data: bytes) -> None:
        """Append bytes; send a part whenever one is full."""
        self._buffer += data
        self._size += len(data)
        while len(self._buffer) >= PART_BYTES:
            piece = bytes(self._buffer[:PART_BYTES])
            del self._buffer[:PART_BYTES]
            self._send(piece)

    def commit(self) -> ObjectInfo:
        """Send the rest and complete the upload."""
        with translated(self._key):
            if self._id is None:
                self._client.put_object(
                    **self._where, Body=bytes(self._buffer), ContentType=self._media_type
                )
            else:
                if self._buffer:
                    self._send(bytes(self._buffer))
                self._client.complete_multipart_upload(
                    **self._where,
                    UploadId=self._id,
                    MultipartUpload={"Parts": cast(Any, self._parts)},
                )
                self._id = None
        return ObjectInfo(self._key, self._size, self._media_type)

    def abort(self) -> None:
        """Abort a multipart upload that was begun."""
        if self._id is not None:
            with translated(self._key):
                self._client.abort_multipart_upload(**self._where, UploadId=self._id)
            self._id = None

    def _send(self, piece: bytes) -> None:
        with translated(self._key):
            if self._id is None:
                begun = self._client.create_multipart_upload(
                    **self._where, ContentType=self._media_type
                )
                self._id = begun["UploadId"]
            number = len(self._parts) + 1
            reply = self._client.upload_part(
                **self._where, UploadId=self._id, PartNumber=number, Body=io.BytesIO(piece)
            )
            self._parts.append({"PartNumber": number, "ETag": reply["ETag"]})
