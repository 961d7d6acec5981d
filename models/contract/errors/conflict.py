"""Conflicts with the present state: each has a code of its own and names what it is about."""

from __future__ import annotations

from typing import Any

from models.contract.errors.request import RequestError
from models.contract.note_codes import Saying


class Conflict(RequestError):
    """The resource is in a state that does not allow this. Read it again and decide."""

    code = "conflict"
    title = "Conflict with the present state"
    status = 409

    def __init__(self, detail: Saying | None = None, *, about: str | None, **extra: Any) -> None:
        """``about``: id of what stands in the way; None where it is the installation itself."""
        super().__init__(detail, about=about, **extra)


class UploadNotComplete(Conflict):
    """The upload of this clip is not complete. Complete it first."""

    code = "upload_not_complete"
    title = "Upload not complete"
    status = 409


class ClipCompleteAlready(Conflict):
    """This clip is complete already."""

    code = "clip_complete_already"
    title = "Clip complete already"
    status = 409


class FilmNotArrived(Conflict):
    """The film has not arrived yet. Send it, then complete again."""

    code = "film_not_arrived"
    title = "Film not arrived yet"
    status = 409


class FilmInOtherSession(Conflict):
    """This film is filed under another session already. Move that clip with PATCH if it was a
    mistake.
    """

    code = "film_in_other_session"
    title = "Film filed elsewhere"
    status = 409


class FilmsOfTwoSessions(Conflict):
    """Two films of one serve must be filed under the same session, or both under none. Move one of
    them with PATCH, then ask again.
    """

    code = "films_of_two_sessions"
    title = "Films filed under two sessions"
    status = 409


class NoDirectUpload(Conflict):
    """This installation has no object store that callers can reach. Send the film to POST
    /v1/clips.
    """

    code = "no_direct_upload"
    title = "No direct upload here"
    status = 409


class SessionErased(Conflict):
    """The session was erased while the film arrived."""

    code = "session_erased"
    title = "Session erased"
    status = 409


class ExternalIdTaken(Conflict):
    """There is a player with that external_id already. Find it in the list."""

    code = "external_id_taken"
    title = "External id taken"
    status = 409


class LastAdminKey(Conflict):
    """An organisation needs one admin key in force that does not expire. Make another one first."""

    code = "last_admin_key"
    title = "Last admin key"
    status = 409


class KeyNotShownAgain(Conflict):
    """This request made its key before, and your own key was replaced since, so the key cannot be
    shown again. Rotate it to get a new one.
    """

    code = "key_not_shown_again"
    title = "Key cannot be shown again"
    status = 409


class RequestInProgress(Conflict):
    """Requests with this Idempotency-Key are in progress. Send it again."""

    code = "request_in_progress"
    title = "Same request in progress"
    status = 409


class WorkNotEnded(Conflict):
    """The work has not ended yet. Read its progress and come back."""

    code = "work_not_ended"
    title = "Work not ended"
    status = 409


class NotTriedAgain(Conflict):
    """Only work that failed by the installation's fault is tried again. Start new work for this
    film instead.
    """

    code = "not_tried_again"
    title = "Not tried again"
    status = 409


class WorkEnded(Conflict):
    """The work has ended already. Read its result or problem."""

    code = "work_ended"
    title = "Work ended already"
    status = 409


class WorkWithoutResult(Conflict):
    """The work ended without a result. Read its status and problem."""

    code = "work_without_result"
    title = "Work without result"
    status = 409


class AnalysisNotCompleted(Conflict):
    """An analysis named here is not completed. Wait for it, or leave it out."""

    code = "analysis_not_completed"
    title = "Analysis not completed"
    status = 409


class AnalysisNotEnded(Conflict):
    """An analysis of the session has not ended yet. Wait for it."""

    code = "analysis_not_ended"
    title = "Analysis not ended"
    status = 409


class SessionWithoutAnalysis(Conflict):
    """A session named here holds no completed analysis. Analyse its clips first."""

    code = "session_without_analysis"
    title = "Session without analysis"
    status = 409


class NoSessionOfServes(Conflict):
    """The player has no session of serves with a completed analysis. Film and analyse serves first,
    or name analyses.
    """

    code = "no_session_of_serves"
    title = "No session of serves"
    status = 409


class NoSessionAnalysed(Conflict):
    """The player has no session with a completed analysis. Film and analyse serves first."""

    code = "no_session_analysed"
    title = "No session analysed"
    status = 409


class OtherPlayersAnalyses(Conflict):
    """These analyses are not all of this player's sessions."""

    code = "other_players_analyses"
    title = "Analyses of another player"
    status = 409


class PlanNotCompleted(Conflict):
    """The plan is not completed. Wait for it, or name finding and drill."""

    code = "plan_not_completed"
    title = "Plan not completed"
    status = 409


class PlanWithoutStep(Conflict):
    """The plan has no step to work on. Name finding and drill."""

    code = "plan_without_step"
    title = "Plan without a step"
    status = 409


class EndpointExists(Conflict):
    """This address is registered already. Change that endpoint, or remove it first."""

    code = "endpoint_exists"
    title = "Address registered already"
    status = 409


class RotationUnderWay(Conflict):
    """Two secrets are valid already. Wait until the former one ends, or end it now with
    `overlap_hours: 0`.
    """

    code = "rotation_under_way"
    title = "Secret is being replaced already"
    status = 409


class UploadOffsetMismatch(Conflict):
    """The upload has another offset than yours. Ask for it with HEAD and go on from there."""

    code = "upload_offset_mismatch"
    title = "Upload stands elsewhere"
    status = 409


class ConsentNeeded(Conflict):
    """Nobody has agreed to the text of this link yet, or it was too long ago. Read it and agree
    first, then send the film.
    """

    code = "consent_needed"
    title = "Consent needed"
    status = 409


class LinkFull(Conflict):
    """This link has taken as much as it may. Ask whoever sent it for a new one."""

    code = "link_full"
    title = "Link takes no more"
    status = 409


class LinkNotShownAgain(Conflict):
    """This request made its link before, with another key of yours, so its address cannot be
    shown again. Make a new link.
    """

    code = "link_not_shown_again"
    title = "Link cannot be shown again"
    status = 409
