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


class NotSeenClearly(FilmProblem):
    """Hands, hips, legs or feet are inside the picture but cannot be seen clearly for much of the
    time. More light and a shorter exposure, nothing between camera and server, and clothes that
    stand out from the background help; stepping back does not.
    """

    code = "not_seen_clearly"
    title = "Body not seen clearly"
    status = 422


class PersonTooSmall(FilmProblem):
    """The server is too small in the picture for joints to be placed well. Go nearer, turn the
    phone upright or use a longer lens, until the server fills half of the height of the picture.
    """

    code = "person_too_small"
    title = "Server too small in the picture"
    status = 422


class PictureNotUpright(FilmProblem):
    """The picture is upside down or lies on its side, so no posture can be measured. Turn the
    film upright (the rotation flag of the file may be wrong) and send it again.
    """

    code = "picture_not_upright"
    title = "Picture not upright"
    status = 422


class PostureImpossible(FilmProblem):
    """What was seen is no posture a person can have while serving: joints were mistaken for
    others, or their axes or unit are wrong. No value is given. Check the pictures; film again with
    one person, upright, whole and large in view.
    """

    code = "posture_impossible"
    title = "Impossible posture"
    status = 422


class JointsFrameWrong(FilmProblem):
    """Unit, axes or sides of the joints are not those that were stated, so nothing was measured.
    Send metres, z up, with left and right as the person has them.
    """

    code = "joints_frame_wrong"
    title = "Unit, axes or sides wrong"
    status = 422


class JointsLocked(FilmProblem):
    """Pelvis and shoulders never turn against each other in these joints: one of the two lines was
    not measured but derived from the other. What rests on their difference is not given. Send
    joints of a system that finds hips and shoulders by themselves.
    """

    code = "joints_coupled"
    title = "Pelvis and shoulders move as one"
    status = 422


class JointsCoarse(FilmProblem):
    """The joints lack feet or head, so what rests on them is not given. Send heels, toes and ears
    too, where the system has them.
    """

    code = "joints_coarse"
    title = "Joints missing"
    status = 422


class OtherHandHits(FilmProblem):
    """The hand that hits in the film is not the stated one. Either the film is a mirror image
    (a selfie camera or an editing program) or the stated hand is wrong. Correct one of them.
    """

    code = "other_hand_hits"
    title = "The other hand hits"
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
    """From this camera position some values cannot be measured. Film from the side for the weight
    over the feet, from the front quarter for what turns, at hip to chest height.
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
