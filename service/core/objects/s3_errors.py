"""What an S3 service answers, as our errors."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from contextlib import contextmanager

from boto3.exceptions import Boto3Error
from botocore.exceptions import BotoCoreError, ClientError
from urllib3.exceptions import HTTPError

from models.contract.errors import ObjectStoreUnavailable
from models.contract.note_codes import NoteCode, say
from service.core.objects.port import ObjectMissing

logger = logging.getLogger(__name__)
_MISSING = {"404", "NoSuchKey", "NotFound"}


@contextmanager
def translated(key: str, also_missing: str = "") -> Iterator[None]:
    """Raise our errors for those of the store.

    Parameters
    ----------
    key : str
        What was asked for.
    also_missing : str
        A further code of the store that says that it is not there.
    """
    try:
        yield
    except ClientError as error:
        code = error.response.get("Error", {}).get("Code")
        if code in _MISSING or code == (also_missing or None):
            raise ObjectMissing(key) from None
        logger.warning("the object store answered %s to %s", code, error.operation_name)
        if code == "NoSuchBucket":
            raise ObjectStoreUnavailable(say(NoteCode.BUCKET_MISSING)) from error
        raise ObjectStoreUnavailable() from error
    except (BotoCoreError, Boto3Error, HTTPError, OSError) as error:
        logger.warning("the object store does not answer: %s", type(error).__name__)
        raise ObjectStoreUnavailable() from error
