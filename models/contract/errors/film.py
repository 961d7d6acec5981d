"""Problems of what the film shows: stated in a completed analysis."""

from __future__ import annotations

from models.contract.errors.root import ServewrightError


class FilmProblem(ServewrightError):
    """The film does not show what is needed. Film again from the side with the whole body in
    view.
    """

    code = "film_problem"
    title = "Film problem"
    status = 422


class NoPerson(FilmProblem):
    """No person was found. Film from 6 to 10 m away with the server large enough to fill about
    half of the height of the picture.
    """

    code = "no_person"
    title = "No person seen"
    status = 422


class SeveralPeople(FilmProblem):
    """More than one person is in view; the server was chosen by size and arm motion. Check the
    pictures, or film the server alone.
    """

    code = "several_people"
    title = "Several people in view"
    status = 422


class FeetNotInFrame(FilmProblem):
    """One or both feet leave the picture, so weight and leg values cannot be measured. Step
    back or tilt the phone until both feet and the highest racket position are in view.
    """

    code = "feet_not_in_frame"
    title = "Feet not in the picture"
    status = 422


class BodyNotInFrame(FilmProblem):
    """Part of the body leaves the picture. Step back until the whole body, both feet and the
    raised racket are in view.
    """

    code = "body_not_in_frame"
    title = "Body not wholly in the picture"
    status = 422


class NoServeFound(FilmProblem):
    """No serve was found in the clip. Film at least one whole serve, from the still stance
    before the toss to the finish.
    """

    code = "no_serve_found"
    title = "No serve found"
    status = 422


class FrameRateLow(FilmProblem):
    """The frame rate is too low for fast movements. Film at 60 frames per second or more;
    posture and weight are still reported, with wider intervals.
    """

    code = "frame_rate_low"
    title = "Frame rate low"
    status = 422


class FrameRateDoubtful(FilmProblem):
    """Times do not fit free fall: the file may be slow motion saved at another rate. Give the
    rate the camera recorded at (capture_fps).
    """

    code = "frame_rate_doubtful"
    title = "Frame rate doubtful"
    status = 422


class FramesRepeated(FilmProblem):
    """The film does not show something new in every picture. Send the file as the camera wrote
    it, not one that was edited, shared or filmed from a screen.
    """

    code = "frames_repeated"
    title = "Pictures repeated or left out"
    status = 422


class ViewUnsuitable(FilmProblem):
    """From this camera position some values cannot be measured. Film from the side, square to
    the line to the target, at hip to chest height.
    """

    code = "view_unsuitable"
    title = "View does not support every metric"
    status = 422


class FramesLost(FilmProblem):
    """Part of the film could not be read. The readable part was analysed; send the original
    file for the rest.
    """

    code = "frames_lost"
    title = "Some frames could not be read"
    status = 422
