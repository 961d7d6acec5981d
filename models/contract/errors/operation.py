"""Errors of the running service: pose models, jobs, dependencies."""

from __future__ import annotations

from models.contract.errors.root import ServewrightError


class ModelError(ServewrightError):
    """The pose model could not be used. Run `servewright doctor` on the server."""

    code = "model_error"
    title = "Pose model error"
    status = 500


class ModelUnknown(ModelError):
    """No pose model of that name is shipped. Run `servewright doctor` for the list of names
    and correct the setting.
    """

    code = "model_unknown"
    title = "Pose model unknown"
    status = 500


class ModelFileDamaged(ModelError):
    """A pose model file does not have its recorded SHA-256. Install the package again; never
    use a model file from elsewhere.
    """

    code = "model_file_damaged"
    title = "Pose model file damaged"
    status = 500


class ComputeDeviceUnavailable(ModelError):
    """The compute device asked for is not available. Set the device to cpu or install the
    matching runtime.
    """

    code = "compute_device_unavailable"
    title = "Compute device unavailable"
    status = 500


class JobError(ServewrightError):
    """The analysis could not be finished. Start it again; if it fails again, tell the
    operator.
    """

    code = "job_error"
    title = "Analysis failed"
    status = 500


class WorkerCrashed(JobError):
    """The worker died at this work several times, which may be the machine's fault. Start it
    again later and tell the operator; if it fails for this clip alone, send the original film
    from the phone.
    """

    code = "worker_crashed"
    title = "Worker crashed"
    status = 500


class DecoderStopped(JobError):
    """The process that reads the film was ended from outside several times, as happens when
    memory runs out. The film is not at fault: start the analysis again later; the operator gives
    the workers more memory.
    """

    code = "decoder_stopped"
    title = "Reading of the film was stopped"
    status = 500


class StoredFilmLost(JobError):
    """The stored film is missing or no longer what was sent. Send the same film again, which
    puts it back in its place, and start the analysis again.
    """

    code = "stored_film_lost"
    title = "Stored film lost"
    status = 500


class JobTimedOut(JobError):
    """The analysis took longer than allowed. Trim the clip to the serves."""

    code = "job_timed_out"
    title = "Analysis took too long"
    status = 500


class LeaseLost(JobError):
    """Another worker took over this analysis. Nothing to do."""

    code = "lease_lost"
    title = "Another worker took over"
    status = 500


class Cancelled(JobError):
    """The analysis was cancelled. Start a new one if it is still wanted."""

    code = "cancelled"
    title = "Analysis cancelled"
    status = 409


class Erased(JobError):
    """The clip was erased while it was worked on. Nothing was kept."""

    code = "erased"
    title = "Clip erased"
    status = 410


class DependencyError(ServewrightError):
    """A part of the service is unavailable. Try again in a few seconds."""

    code = "dependency_unavailable"
    title = "A part of the service is unavailable"
    status = 503


class DatabaseUnavailable(DependencyError):
    """The database does not answer. Try again in a few seconds; the operator runs `servewright
    doctor`.
    """

    code = "database_unavailable"
    title = "Database unavailable"
    status = 503


class QueueUnavailable(DependencyError):
    """The queue does not answer. Accepted work is kept and starts when it is back; the
    operator runs `servewright doctor`.
    """

    code = "queue_unavailable"
    title = "Queue unavailable"
    status = 503


class ObjectStoreUnavailable(DependencyError):
    """The object store does not answer. Try again in a few seconds; the operator runs
    `servewright doctor`.
    """

    code = "object_store_unavailable"
    title = "Object store unavailable"
    status = 503


class WorkingSpaceFull(DependencyError):
    """The disk for temporary files is full. Work waits until there is room; the operator makes
    room.
    """

    code = "working_space_full"
    title = "Disk for temporary files full"
    status = 503


class Internal(ServewrightError):
    """Something went wrong inside the service. Try again; tell the operator the request id if
    it happens again.
    """

    code = "internal_error"
    title = "Internal error"
    status = 500
