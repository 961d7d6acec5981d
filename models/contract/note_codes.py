"""Codes of the reasons, notes and cautions in documents. Codes of errors are in `errors`."""

from __future__ import annotations

from enum import StrEnum


class NoteCode(StrEnum):
    """What a document can say; each has words in every language."""

    # Why a metric is not measurable.
    EVENT_NOT_FOUND = "event_not_found"
    TIMES_DOUBTFUL = "times_doubtful"
    FRAME_RATE_TOO_LOW = "frame_rate_too_low"
    FEET_NOT_SEEN = "feet_not_seen"
    VIEW_NOT_PROVEN = "view_not_proven"
    VIEW_NOT_RELIABLE = "view_not_reliable"
    ONE_CAMERA_NOT_RELIABLE = "one_camera_not_reliable"
    UNDEFINED_IN_MOTION = "undefined_in_motion"

    # What the checks of a film found.
    PERSON_SEEN = "person_seen"
    BODY_STAYS = "body_stays_in_picture"
    BODY_LEAVES = "body_leaves_picture"
    FEET_STAY = "feet_stay_in_picture"
    FEET_LEAVE = "feet_leave_picture"
    OTHER_PEOPLE = "other_people_seen"
    PERSON_HEIGHT = "person_height"
    JOINTS_RATE = "joints_rate"
    FILMED_FROM_SIDE = "filmed_from_side"
    FILMED_FROM_ELSEWHERE = "filmed_from_elsewhere"
    RATE_ENOUGH = "rate_enough"
    RATE_FOR_POSTURE = "rate_for_posture"
    RATE_FOR_SLOW_POSTURE = "rate_for_slow_posture"
    RESOLUTION_ENOUGH = "resolution_enough"
    RESOLUTION_LOW = "resolution_low"
    SHARP_ENOUGH = "sharp_enough"
    BLURRED = "blurred"
    WELL_EXPOSED = "well_exposed"
    TOO_DARK = "too_dark"
    TOO_BRIGHT = "too_bright"
    BLACK_OR_WHITE = "black_or_white"
    NO_SERVE_BUT = "no_serve_but"

    # Comparisons.
    NOT_MEASURED = "not_measured"
    FIRST_NOT_MEASURABLE = "first_not_measurable"
    SECOND_NOT_MEASURABLE = "second_not_measurable"
    NEITHER_MEASURABLE = "neither_measurable"
    UNITS_DIFFER = "units_differ"
    BORDER_OF_VIEWS = "border_of_views"
    FILMS_FROM_ELSEWHERE = "films_from_elsewhere"
    FOCUS_NOT_COMPARED = "focus_not_compared"
    SIDE_EMPTY = "side_empty"
    SINGLE_REPETITION = "single_repetition"
    SHARED_ERRORS_DROPPED = "shared_errors_dropped"
    PLACES_DIFFER = "places_differ"
    FILMS_NOT_AT_HAND = "films_not_at_hand"
    NO_PAIR_FILM = "no_pair_film"

    # Progress.
    NO_BASELINE_VALUE = "no_baseline_value"
    GAIN_WITHIN_NOISE = "gain_within_noise"
    NO_RETENTION_CHECK = "no_retention_check"
    RETENTION_TOO_SOON = "retention_too_soon"
    RETENTION_UNCERTAIN = "retention_uncertain"
    GAIN_KEPT = "gain_kept"
    GAIN_GONE = "gain_gone"
    GAIN_PARTLY_KEPT = "gain_partly_kept"
    CAMERA_MOVED = "camera_moved"
    NO_BASELINE_SESSION = "no_baseline_session"
    NO_TRANSFER_SESSION = "no_transfer_session"
    RETENTION_CHECK_DUE = "retention_check_due"

    # Practice plans and drills.
    FINDING_NOT_JUDGED = "finding_not_judged"
    RULE_UNIT_DIFFERS = "rule_unit_differs"
    NOT_MEASURED_IN_CLIPS = "not_measured_in_clips"
    NO_REPETITION_OF_KIND = "no_repetition_of_kind"
    CRITERION_NOT_MEASURED = "criterion_not_measured"
    CRITERIA_MET = "criteria_met"
    TOO_FEW_FILMED = "too_few_filmed"
    TOO_FEW_MET = "too_few_met"
    NONE_MET_AT_FIRST_STEP = "none_met_at_first_step"
    SOME_MET = "some_met"

    # Cautions.
    ESTIMATES_FROM_FILM = "estimates_from_film"
    NOT_MEDICAL_ADVICE = "not_medical_advice"
    LOCAL_RULES_FIRST = "local_rules_first"
    MINOR_MAY_BE_GROWING = "minor_may_be_growing"
    MINOR_FILMS_ERASED = "minor_films_erased"
