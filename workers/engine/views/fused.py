"""Another film of a serve for the fit: its marks at the first film's instants, and its camera."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.interpolate import CubicSpline

from models.contract.tracks import FloatArray, JointTrack
from workers.engine.camera import LevelCamera
from workers.engine.fit.observations import observe
from workers.engine.fit.offsets import LandmarkErrors
from workers.engine.fit.others import OtherCamera, OtherView
from workers.engine.views.pairing import ViewPair
from workers.engine.views.rig import cross
from workers.engine.views.seen import SeenBody


@dataclass(frozen=True, slots=True)
class SecondFilm:
    """A film beside the first (`workers.engine.fit.others.FilmBeside`).

    Attributes
    ----------
    pair : ViewPair
    one, two : SeenBody
        The marks that the pair was found from.
    track : JointTrack
        The second film's, on its own clock.
    centres : tuple
        Middle of the first and of the second picture, pixels.
    """

    pair: ViewPair
    one: SeenBody
    two: SeenBody
    track: JointTrack
    centres: tuple[tuple[float, float], tuple[float, float]]
    mirrored: bool
    landmarks: LandmarkErrors

    def start(self, time_s: FloatArray) -> tuple[LevelCamera, OtherCamera, FloatArray]:
        """See `FilmBeside.start`."""
        rig = self.pair.rig
        value = [float(v) for v in rig.values]
        one = LevelCamera(
            self.one.focal_px * float(np.exp(value[2])), self.centres[0], value[0], value[1]
        )
        two = LevelCamera(
            self.two.focal_px * float(np.exp(value[6])), self.centres[1], value[4], value[5]
        )
        in_one, in_two = self.one.at(time_s), self.two.at(time_s + rig.offset_s)
        points = cross(rig, self.one, self.two, in_one, in_two).points
        return one, OtherCamera(two, rig.yaw, rig.place), points

    def view(self, time_s: FloatArray) -> OtherView:
        """See `FilmBeside.view`."""
        track = resampled(self.track, time_s + self.pair.offset_s)
        rows = np.arange(len(track))
        seen = observe(track, rows, self.mirrored, self.two.stature_m, self.landmarks)
        outside = ~self.two.inside(track.time_s)
        seen.uv[outside] = np.nan
        return OtherView.of(seen, self.two.focal_px, self.two.tall_px)


def rows_of(track: JointTrack, start: int, stop: int) -> JointTrack:
    """Return some frames of a track."""
    rows = slice(start, stop)
    return replace(
        track,
        time_s=track.time_s[rows],
        frame_index=track.frame_index[rows],
        xy=track.xy[rows],
        xy_raw=track.xy_raw[rows],
        confidence=track.confidence[rows],
        world=track.world[rows],
        score=track.score[rows],
        disagreement_px=track.disagreement_px[rows],
        people=track.people[rows],
        sources={name: values[rows] for name, values in track.sources.items()},
    )


def resampled(track: JointTrack, time_s: FloatArray) -> JointTrack:
    """Return a track at other times, cubic between its frames; what a frame lacks stays lacking."""
    nearest = np.abs(track.time_s[:, None] - time_s).argmin(axis=0)
    held = np.clip(time_s, track.time_s[0], track.time_s[-1])

    def moved(values: FloatArray) -> FloatArray:
        flat = values.reshape(len(values), -1)
        out = np.full((len(time_s), flat.shape[1]), np.nan)
        for column in range(flat.shape[1]):
            known = np.isfinite(flat[:, column])
            if known.sum() >= 4:
                curve = CubicSpline(track.time_s[known], flat[known, column])
                out[:, column] = np.where(known[nearest], curve(held), np.nan)
        return out.reshape(len(time_s), *values.shape[1:])

    return replace(
        track,
        time_s=time_s,
        frame_index=track.frame_index[nearest],
        xy=moved(track.xy),
        xy_raw=moved(track.xy_raw),
        confidence=track.confidence[nearest],
        world=moved(track.world),
        score=track.score[nearest],
        disagreement_px=track.disagreement_px[nearest],
        people=track.people[nearest],
        sources={name: moved(values) for name, values in track.sources.items()},
    )
