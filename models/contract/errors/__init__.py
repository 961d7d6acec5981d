"""The error tree of the project. A class's docstring is its default message and says what to do.

::

    ServewrightError
    ├── ClipError                 the file itself (an analysis fails with it)
    │   ├── NotAVideo, ClipDamaged, ClipWithoutFrames, ClipWithoutPicture
    │   ├── ClipTooLarge, ClipTooLong, ClipResolutionTooHigh, ClipTooManyFrames
    │   ├── CodecNotSupported, DecodeLimitExceeded
    ├── FilmProblem               what the film shows (stated in a completed analysis)
    │   ├── NoPerson, SeveralPeople, FeetNotInFrame, BodyNotInFrame
    │   ├── NoServeFound, FrameRateLow, FrameRateDoubtful, FramesRepeated, ViewUnsuitable,
    │   ├── FramesLost, JointsFrameWrong, JointsLocked, JointsCoarse
    ├── ModelError
    │   ├── ModelUnknown, ModelFileDamaged, ComputeDeviceUnavailable
    ├── RequestError              the HTTP request
    │   ├── MalformedRequest, InvalidRequest, DigestMismatch, InvalidCursor
    │   ├── Unauthenticated, Forbidden, NotFound, MethodNotAllowed
    │   ├── Conflict: one class for each, in models.contract.errors.conflict
    │   ├── Gone: LinkEnded, NoLongerKept, UploadGone
    │   ├── IdempotencyConflict, ChecksumMismatch, PreconditionRequired
    │   ├── PreconditionFailed: UploadProtocol
    │   ├── PayloadTooLarge, UnsupportedMediaType, RangeNotSatisfiable
    │   ├── QuotaExceeded, RateLimited
    ├── JobError
    │   ├── WorkerCrashed, DecoderStopped, StoredFilmLost, JobTimedOut
    │   ├── LeaseLost, Cancelled, Erased
    └── DependencyError
        ├── DatabaseUnavailable, QueueUnavailable, ObjectStoreUnavailable, WorkingSpaceFull
        └── Internal

Each class has a stable ``code``: the last part of the problem type URI, the code stored on a
failed analysis and sent in webhooks. Errors pickle, since they cross process boundaries.
"""

from __future__ import annotations

from models.contract.errors.clip import (
    ClipDamaged,
    ClipError,
    ClipResolutionTooHigh,
    ClipTooLarge,
    ClipTooLong,
    ClipTooManyFrames,
    ClipWithoutFrames,
    ClipWithoutPicture,
    CodecNotSupported,
    DecodeLimitExceeded,
    NotAVideo,
)
from models.contract.errors.conflict import (
    AnalysisNotCompleted,
    AnalysisNotEnded,
    ClipCompleteAlready,
    Conflict,
    ConsentNeeded,
    EndpointExists,
    ExternalIdTaken,
    FilmInOtherSession,
    FilmNotArrived,
    KeyNotShownAgain,
    LastAdminKey,
    LinkFull,
    LinkNotShownAgain,
    NoDirectUpload,
    NoSessionAnalysed,
    NoSessionOfServes,
    NotTriedAgain,
    OtherPlayersAnalyses,
    PlanNotCompleted,
    PlanWithoutStep,
    RequestInProgress,
    RotationUnderWay,
    SessionErased,
    SessionWithoutAnalysis,
    UploadNotComplete,
    UploadOffsetMismatch,
    WorkEnded,
    WorkNotEnded,
    WorkWithoutResult,
)
from models.contract.errors.film import (
    BodyNotInFrame,
    FeetNotInFrame,
    FilmProblem,
    FrameRateDoubtful,
    FrameRateLow,
    FramesLost,
    FramesRepeated,
    JointsCoarse,
    JointsFrameWrong,
    JointsLocked,
    NoPerson,
    NoServeFound,
    NotSeenClearly,
    OtherHandHits,
    PersonTooSmall,
    PictureNotUpright,
    PostureImpossible,
    SeveralPeople,
    ViewUnsuitable,
)
from models.contract.errors.operation import (
    Cancelled,
    ComputeDeviceUnavailable,
    DatabaseUnavailable,
    DecoderStopped,
    DependencyError,
    Erased,
    Internal,
    JobError,
    JobTimedOut,
    LeaseLost,
    ModelError,
    ModelFileDamaged,
    ModelUnknown,
    ObjectStoreUnavailable,
    QueueUnavailable,
    StoredFilmLost,
    WorkerCrashed,
    WorkingSpaceFull,
)
from models.contract.errors.request import (
    ChecksumMismatch,
    DigestMismatch,
    Forbidden,
    Gone,
    IdempotencyConflict,
    InvalidCursor,
    InvalidRequest,
    LinkEnded,
    MalformedRequest,
    MethodNotAllowed,
    NoLongerKept,
    NotFound,
    PayloadTooLarge,
    PreconditionFailed,
    PreconditionRequired,
    QuotaExceeded,
    RangeNotSatisfiable,
    RateLimited,
    RequestError,
    Unauthenticated,
    UnsupportedMediaType,
    UploadGone,
    UploadProtocol,
)
from models.contract.errors.root import ServewrightError, all_errors

__all__ = [
    "AnalysisNotCompleted",
    "AnalysisNotEnded",
    "BodyNotInFrame",
    "Cancelled",
    "ChecksumMismatch",
    "ClipCompleteAlready",
    "ClipDamaged",
    "ClipError",
    "ClipResolutionTooHigh",
    "ClipTooLarge",
    "ClipTooLong",
    "ClipTooManyFrames",
    "ClipWithoutFrames",
    "ClipWithoutPicture",
    "CodecNotSupported",
    "ComputeDeviceUnavailable",
    "Conflict",
    "ConsentNeeded",
    "DatabaseUnavailable",
    "DecodeLimitExceeded",
    "DecoderStopped",
    "DependencyError",
    "DigestMismatch",
    "EndpointExists",
    "Erased",
    "ExternalIdTaken",
    "FeetNotInFrame",
    "FilmInOtherSession",
    "FilmNotArrived",
    "FilmProblem",
    "Forbidden",
    "FrameRateDoubtful",
    "FrameRateLow",
    "FramesLost",
    "FramesRepeated",
    "Gone",
    "IdempotencyConflict",
    "Internal",
    "InvalidCursor",
    "InvalidRequest",
    "JobError",
    "JobTimedOut",
    "JointsCoarse",
    "JointsFrameWrong",
    "JointsLocked",
    "KeyNotShownAgain",
    "LastAdminKey",
    "LeaseLost",
    "LinkEnded",
    "LinkFull",
    "LinkNotShownAgain",
    "MalformedRequest",
    "MethodNotAllowed",
    "ModelError",
    "ModelFileDamaged",
    "ModelUnknown",
    "NoDirectUpload",
    "NoLongerKept",
    "NoPerson",
    "NoServeFound",
    "NoSessionAnalysed",
    "NoSessionOfServes",
    "NotAVideo",
    "NotFound",
    "NotSeenClearly",
    "NotTriedAgain",
    "ObjectStoreUnavailable",
    "OtherHandHits",
    "OtherPlayersAnalyses",
    "PayloadTooLarge",
    "PersonTooSmall",
    "PictureNotUpright",
    "PlanNotCompleted",
    "PlanWithoutStep",
    "PostureImpossible",
    "PreconditionFailed",
    "PreconditionRequired",
    "QueueUnavailable",
    "QuotaExceeded",
    "RangeNotSatisfiable",
    "RateLimited",
    "RequestError",
    "RequestInProgress",
    "RotationUnderWay",
    "ServewrightError",
    "SessionErased",
    "SessionWithoutAnalysis",
    "SeveralPeople",
    "StoredFilmLost",
    "Unauthenticated",
    "UnsupportedMediaType",
    "UploadGone",
    "UploadNotComplete",
    "UploadOffsetMismatch",
    "UploadProtocol",
    "ViewUnsuitable",
    "WorkEnded",
    "WorkNotEnded",
    "WorkWithoutResult",
    "WorkerCrashed",
    "WorkingSpaceFull",
    "all_errors",
]
