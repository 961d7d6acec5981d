"""Errors of the file itself: an analysis fails with one of these."""

from __future__ import annotations

from models.contract.errors.root import ServewrightError


class ClipError(ServewrightError):
    """The clip cannot be analysed. Film it again and send the original file."""

    code = "clip_unusable"
    title = "Clip not usable"
    status = 422


class NotAVideo(ClipError):
    """The file is not a video this service can open. Send the original film from the phone:
    MP4 or MOV with H.264 or HEVC.
    """

    code = "not_a_video"
    title = "Not a video"
    status = 422


class ClipDamaged(ClipError):
    """The file is damaged or cut short. Send it again from the phone; wait until the upload
    has finished.
    """

    code = "clip_damaged"
    title = "Clip damaged"
    status = 422


class ClipWithoutFrames(ClipError):
    """The video holds no pictures. Film again for at least two seconds and send the original
    file.
    """

    code = "clip_without_frames"
    title = "Clip without frames"
    status = 422


class ClipWithoutPicture(ClipError):
    """The file holds sound but no picture. Send the film itself, not a sound recording."""

    code = "clip_without_picture"
    title = "Clip without picture"
    status = 422


class ClipTooLarge(ClipError):
    """The file is larger than allowed. Trim it to the serves, or film at 1080p."""

    code = "clip_too_large"
    title = "Clip too large"
    status = 413


class ClipTooLong(ClipError):
    """The clip is longer than allowed. Trim it to the serves and send the parts."""

    code = "clip_too_long"
    title = "Clip too long"
    status = 422


class ClipResolutionTooHigh(ClipError):
    """The picture is larger than allowed. Film at 1080p or 4K."""

    code = "clip_resolution_too_high"
    title = "Resolution too high"
    status = 422


class ClipTooManyFrames(ClipError):
    """The clip holds more frames than allowed. Trim it to the serves and send the parts."""

    code = "clip_too_many_frames"
    title = "Too many frames"
    status = 422


class FilmsNoPair(ClipError):
    """The films do not show one serve from two places. Film the same serve with two cameras 60 to
    100 degrees apart, seen from the player.
    """

    code = "films_no_pair"
    title = "Films are no two views of one serve"
    status = 422


class CodecNotSupported(ClipError):
    """The film's codec is not supported. Send H.264 or HEVC (the phone's own setting), not an
    edited export.
    """

    code = "codec_not_supported"
    title = "Codec not supported"
    status = 422


class DecodeLimitExceeded(ClipError):
    """Decoding this file needed more time or memory than allowed. Send the original film from
    the phone at 1080p.
    """

    code = "decode_limit_exceeded"
    title = "Decoding stopped at its limit"
    status = 422
