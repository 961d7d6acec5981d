"""Object store: one small port, a local folder and any S3 API behind it."""

from __future__ import annotations

from service.core.objects.local import LocalObjects
from service.core.objects.port import (
    ByteRange,
    ObjectInfo,
    ObjectMissing,
    Objects,
    PresignedUpload,
    Upload,
)
from service.core.objects.s3 import S3Objects

__all__ = [
    "ByteRange",
    "LocalObjects",
    "ObjectInfo",
    "ObjectMissing",
    "Objects",
    "PresignedUpload",
    "S3Objects",
    "Upload",
]
