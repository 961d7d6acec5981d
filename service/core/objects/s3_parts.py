"""Uploads in parts that callers send straight to an S3 service."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any, cast

from service.core.objects.port import PartArrived
from service.core.objects.s3_errors import translated

if TYPE_CHECKING:
    from mypy_boto3_s3.client import S3Client

NO_UPLOAD = "NoSuchUpload"


class S3Parts:
    """The multipart uploads of one bucket.

    Parameters
    ----------
    signer : client
        Signs addresses that callers reach.
    full : callable
        Returns the whole key in the bucket.
    """

    def __init__(
        self, client: S3Client, signer: S3Client, bucket: str, full: Callable[[str], str]
    ) -> None:
        self._client = client
        self._signer = signer
        self._bucket = bucket
        self._full = full

    def begin(self, key: str, media_type: str) -> str:
        """Begin an upload; return its id."""
        with translated(key, NO_UPLOAD):
            begun = self._client.create_multipart_upload(**self._where(key), ContentType=media_type)
        return begun["UploadId"]

    def sign(self, key: str, upload_id: str, number: int, size_bytes: int, ttl_s: int) -> str:
        """Return the address that a part of this size is PUT to."""
        where = {**self._where(key), "UploadId": upload_id, "PartNumber": number}
        with translated(key, NO_UPLOAD):
            return self._signer.generate_presigned_url(
                "upload_part", Params={**where, "ContentLength": size_bytes}, ExpiresIn=ttl_s
            )

    def arrived(self, key: str, upload_id: str) -> dict[int, PartArrived]:
        """Return the parts that are there, by number."""
        found: dict[int, PartArrived] = {}
        with translated(key, NO_UPLOAD):
            pages = self._client.get_paginator("list_parts").paginate(
                **self._where(key), UploadId=upload_id
            )
            for page in pages:
                for part in page.get("Parts", []):
                    found[part["PartNumber"]] = PartArrived(part["Size"], part["ETag"])
        return found

    def join(self, key: str, upload_id: str, parts: dict[int, PartArrived]) -> None:
        """Make one object of the parts; the upload ends."""
        listed = [{"PartNumber": n, "ETag": parts[n].tag} for n in sorted(parts)]
        with translated(key, NO_UPLOAD):
            self._client.complete_multipart_upload(
                **self._where(key), UploadId=upload_id, MultipartUpload=cast(Any, {"Parts": listed})
            )

    def give_up(self, key: str, upload_id: str) -> None:
        """End an upload and throw away its parts."""
        with translated(key, NO_UPLOAD):
            self._client.abort_multipart_upload(**self._where(key), UploadId=upload_id)

    def _where(self, key: str) -> dict[str, Any]:
        return {"Bucket": self._bucket, "Key": self._full(key)}
