"""Object store: one small port, a local folder and (in ``s3``) any S3 API behind it."""

from __future__ import annotations

from service.core.objects.local import LocalObjects
from service.core.objects.port import (
    ByteRange,
    ObjectInfo,
    ObjectMissing,
    Objects,
    PartArrived,
    Parts,
    PresignedUpload,
    Upload,
)

__all__ = [
    "ByteRange",
    "LocalObjects",
    "ObjectInfo",
    "ObjectMissing",
    "Objects",
    "PartArrived",
    "Parts",
    "PresignedUpload",
    "Upload",
]
