"""Errors of an HTTP request."""

from __future__ import annotations

from models.contract.errors.root import ServewrightError


class RequestError(ServewrightError):
    """The request cannot be served as it is. Correct it and send it again."""

    code = "request_error"
    title = "Request error"
    status = 400


class MalformedRequest(RequestError):
    """The request cannot be read. Check its syntax against the API description."""

    code = "malformed_request"
    title = "Malformed request"
    status = 400


class InvalidRequest(RequestError):
    """Some values in the request are not valid. See errors for each place and reason."""

    code = "invalid_request"
    title = "Invalid request"
    status = 422


class DigestMismatch(RequestError):
    """The SHA-256 of what arrived is not the one you gave. The upload was damaged on the way:
    send it again.
    """

    code = "digest_mismatch"
    title = "Digest mismatch"
    status = 422


class InvalidCursor(RequestError):
    """The page cursor is not one this service gave out. Start again from the first page."""

    code = "invalid_cursor"
    title = "Invalid cursor"
    status = 400


class Unauthenticated(RequestError):
    """Send a valid API key: Authorization: Bearer KEY."""

    code = "unauthenticated"
    title = "API key missing or not valid"
    status = 401


class Forbidden(RequestError):
    """This API key lacks the scope for this call. Use a key with that scope."""

    code = "forbidden"
    title = "Not allowed"
    status = 403


class NotFound(RequestError):
    """There is nothing here under that id. Check the id; it may have been erased."""

    code = "not_found"
    title = "Not found"
    status = 404


class MethodNotAllowed(RequestError):
    """This address does not know that method. See the Allow header."""

    code = "method_not_allowed"
    title = "Method not allowed"
    status = 405


class IdempotencyConflict(RequestError):
    """This Idempotency-Key was used with another request. Use a new key for a new request."""

    code = "idempotency_conflict"
    title = "Idempotency key used before"
    status = 422


class Gone(RequestError):
    """What was here has ended and does not come back."""

    code = "gone"
    title = "Gone"
    status = 410


class LinkEnded(Gone):
    """This link has ended. Ask whoever sent it for a new one."""

    code = "link_ended"
    title = "Link has ended"
    status = 410


class NoLongerKept(Gone):
    """This was kept for a stated time, which is over, and has been removed. What was measured is
    still here; send the film again for what needs it.
    """

    code = "no_longer_kept"
    title = "Kept no longer"
    status = 410


class UploadGone(Gone):
    """This upload has ended: it waited too long, or its film was refused. Begin a new one."""

    code = "upload_gone"
    title = "Upload has ended"
    status = 410


class ChecksumMismatch(RequestError):
    """The part was damaged on the way, and none of it was kept. Send it again."""

    code = "checksum_mismatch"
    title = "Checksum mismatch"
    status = 460  # of the tus protocol 1.0, extension checksum


class PreconditionFailed(RequestError):
    """The resource has changed since you read it. Read it again."""

    code = "precondition_failed"
    title = "Precondition failed"
    status = 412


class UploadProtocol(PreconditionFailed):
    """Uploads in parts speak version 1.0.0 of the tus protocol. Send `Tus-Resumable: 1.0.0`."""

    code = "upload_protocol"
    title = "Version of the upload protocol not known"
    status = 412


class PreconditionRequired(RequestError):
    """Send If-Match with the ETag you read, so that no change is lost."""

    code = "precondition_required"
    title = "Precondition required"
    status = 428


class PayloadTooLarge(RequestError):
    """The request body is larger than allowed. Send less; the API description says how much each
    call takes.
    """

    code = "payload_too_large"
    title = "Payload too large"
    status = 413


class UnsupportedMediaType(RequestError):
    """The body is not of a media type accepted here. See the API description."""

    code = "unsupported_media_type"
    title = "Unsupported media type"
    status = 415


class RangeNotSatisfiable(RequestError):
    """The range asked for lies outside the file. See Content-Range for its length."""

    code = "range_not_satisfiable"
    title = "Range not satisfiable"
    status = 416


class QuotaExceeded(RequestError):
    """A limit of your organisation is reached. Wait, erase what is no longer needed, or ask the
    operator for a higher limit.
    """

    code = "quota_exceeded"
    title = "Limit of the organisation reached"
    status = 403


class RateLimited(RequestError):
    """Too many requests. Wait as long as Retry-After says, and ask less often."""

    code = "rate_limited"
    title = "Too many requests"
    status = 429
