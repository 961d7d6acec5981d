"""Rendered films as the pose networks really saw them, with the truth: the other half of a batch.

What is read goes through the engine's own reader, so that training and service see the same.
"""

from __future__ import annotations

import multiprocessing
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import torch
from torch import Generator, Tensor

from models.contract.skeleton import CANONICAL_BODY as BODY
from models.contract.vocabulary import EventName, RepetitionKind
from models.training.packed_films import PackedFilm, packs_of, read_films
from workers.engine.lift import SHORTEST_FRAMES, TIMED
from workers.engine.lift_input import (
    RATE_HZ,
    SECOND,
    TOLD_SPREAD_DEG,
    read,
    resample,
    seen_in,
    stature_px,
    still_frames,
)
from workers.engine.lift_input import Seen as BothSaw

from .bank import BENT_SHARE, FRAMES, TIMED_CONTACT, Array
from .errors import landmark_offsets
from .loss import Truth
from .residuals import Residuals
from .sight import STILL, TOLD, TOLD_SHARE
from .targets import heads_of

WINDOWS = 3
"""Windows of a film that begin at different times."""
LEAD_S = (0.1, 1.0)
MOVED = 0.8
"""Share of the size of the offsets in `errors` that film windows get on top of their networks'
own: rendered people are clicked in other places than real ones."""


@dataclass(frozen=True)
class Seen:
    """One window of one film: arrays of length T <= FRAMES, joints in standing heights."""

    features: Array
    place: Array
    path: Array
    joints: Array
    axes: Array
    camera: Array
    events: Array
    azimuth: float
    astray: Array


def windows(film: PackedFilm, seed: int) -> Iterator[Seen]:
    """Windows of a film as the engine would read them."""
    chance = np.random.default_rng(seed)
    track, motion = film.track, film.motion
    start = film.events.get(EventName.SET_UP, float(motion.time_s[0]))
    hold = film.kind is RepetitionKind.HOLD
    for _ in range(WINDOWS):
        lead = chance.uniform(*LEAD_S) + (chance.uniform(1.0, 2.5) if hold else 0.0)
        if hold and chance.uniform() < BENT_SHARE:
            lead = -chance.uniform(0.1, 0.7)
        inside = (track.time_s >= start - lead) & (
            track.time_s < start - lead + (FRAMES + 3) / RATE_HZ
        )
        seen = seen_in(track, np.flatnonzero(inside), motion.mirrored)
        if len(seen.rows) < 2 * SHORTEST_FRAMES:
            continue
        given = read(seen)
        if given is None:
            continue
        when = given.when[:FRAMES]
        joints = resample(motion.time_s, motion.joints, when) / motion.stature_m
        camera = film.camera / motion.stature_m
        person = BODY.middle(joints[:STILL], "hip").mean(0)
        away = (person - camera)[:2] / np.linalg.norm((person - camera)[:2])
        axes = np.array([[away[1], -away[0], 0.0], [away[0], away[1], 0.0], [0.0, 0.0, 1.0]])
        astray = _astray(film, seen, when, joints @ axes.T)
        times = np.array([film.events.get(event, np.nan) for event in TIMED])
        yield Seen(
            given.features[:FRAMES].astype(np.float32),
            given.place[:FRAMES].astype(np.float32),
            given.path[:FRAMES].astype(np.float32),
            joints.astype(np.float32),
            axes.astype(np.float32),
            camera.astype(np.float32),
            ((times - when[0]) * RATE_HZ).astype(np.float32),
            float(np.radians(film.azimuth_deg)),
            astray.astype(np.float16),
        )


def _astray(film: PackedFilm, seen: BothSaw, when: Array, level: Array) -> Array:
    """How far both networks are off at even instants, (N, SPARE): see `.residuals.Residuals`."""
    still = still_frames(len(when))
    true = resample(film.motion.time_s, film.picture, when)
    tall = max(stature_px(true, still), 1e-6)
    first = resample(seen.time_s, seen.plane, when)
    known = np.isfinite(seen.second).all(axis=(1, 2))
    second = np.zeros((len(when), len(BODY), 2))
    second_sure = np.zeros((len(when), len(BODY)))
    if known.mean() > 0.5:
        at = seen.time_s[known]
        found = resample(at, seen.second[known], when)
        second[:, :SECOND] = (found - true[:, :SECOND]) / tall
        second_sure[:, :SECOND] = resample(at, seen.second_sure[known], when)
    space = resample(seen.time_s, seen.space, when)
    high = max(stature_px(space, still), 1e-6)
    own = (space - BODY.middle(space, "hip")[:, None]) / high
    pose = level - BODY.middle(level, "hip")[:, None]
    parts = ((first - true) / tall, second, resample(seen.time_s, seen.sure, when))
    flat = [part.reshape(len(when), -1) for part in (*parts, second_sure, own - pose)]
    return np.concatenate(flat, axis=1)


def _of_pack(path: Path) -> list[Seen]:
    torch.set_num_threads(1)
    found: list[Seen] = []
    for number, film in enumerate(read_films(path)):
        found += windows(film, number)
    return found


@dataclass(frozen=True)
class FilmSet:
    """Windows of films as tensors, padded to FRAMES."""

    features: Tensor
    place: Tensor
    path: Tensor
    joints: Tensor
    axes: Tensor
    camera: Tensor
    events: Tensor
    azimuth: Tensor
    inside: Tensor
    astray: Tensor

    def __len__(self) -> int:
        return len(self.features)

    def residuals(self) -> Residuals:
        """The errors of all windows, for other movements."""
        contact = self.events[:, TIMED_CONTACT]
        return Residuals(self.astray.half(), self.azimuth, contact, self.inside.sum(1))

    def draw(self, count: int, chance: Generator) -> tuple[Tensor, Truth, Tensor]:
        """Random windows, landmarks moved as on other people, some told the direction."""
        device = self.features.device
        rows = torch.randint(len(self), (count,), generator=chance, device=device)
        return self.batch(rows, chance)

    def every(self, size: int) -> Iterator[tuple[Tensor, Truth, Tensor]]:
        """Every first window of a film, as it is."""
        whole = torch.arange(0, len(self), device=self.features.device)
        for rows in torch.split(whole, size):
            yield self.batch(rows, None)

    def batch(self, rows: Tensor, chance: Generator | None) -> tuple[Tensor, Truth, Tensor]:
        """Features, truth and azimuth of some windows; as they are without ``chance``."""
        joints, axes = self.joints[rows], self.axes[rows]
        features = self.features[rows].clone()
        place = self.place[rows]
        heading = torch.atan2(axes[:, 1, 0], axes[:, 0, 0])
        level = torch.einsum("btjc,brc->btjr", joints - self.camera[rows][:, None, None], axes)
        if chance is not None:
            features, place = _moved(features, place, joints, axes, chance)
            features[..., TOLD] = _told(heading, chance)[:, None]
        hips = (level[:, :, BODY.pair("hip")]).mean(2)
        relative = level - hips[:, :, None]
        relative[..., 0] -= place[..., 0]
        relative[..., 2] -= place[..., 1]
        root = hips - hips[:, :STILL].median(1).values[:, None]
        root[..., 0] -= self.path[rows][..., 0]
        root[..., 2] -= self.path[rows][..., 1]
        truth = Truth(
            relative, root, heads_of(joints, STILL), heading, self.inside[rows], self.events[rows]
        )
        return features, truth, self.azimuth[rows]


def _told(heading: Tensor, chance: Generator) -> Tensor:
    """Told columns, (B, 3): some films state the direction, with an error."""
    count, device = len(heading), heading.device
    spread = 0.5 + 11.5 * torch.rand(count, generator=chance, device=device)
    off = torch.deg2rad(spread) * torch.randn(count, generator=chance, device=device)
    happens = torch.rand(count, generator=chance, device=device) < TOLD_SHARE
    weight = torch.exp(-spread / TOLD_SPREAD_DEG) * happens
    said = heading + off
    return torch.stack([said.sin(), said.cos(), torch.ones_like(said)], 1) * weight[:, None]


def _moved(
    features: Tensor, place: Tensor, joints: Tensor, axes: Tensor, chance: Generator
) -> tuple[Tensor, Tensor]:
    """Move the landmarks of both networks in the body's axes, each film in its own way.

    Seen from afar: the offset's part across the line of sight, in standing heights.
    """
    joint_count, few = len(BODY), 17
    one, two = (
        MOVED * torch.einsum("btjc,brc->btjr", offset, axes)[..., [0, 2]]
        for offset in landmark_offsets(joints, chance)
    )
    hips = one[:, :, BODY.pair("hip")].mean(2, keepdim=True)
    one, two = one - hips, two - hips
    width = 2 * joint_count
    features[..., :width] += one.flatten(2)
    second = slice(width, width + 2 * few)
    has = (features[..., second].abs().sum(-1, keepdim=True) > 0).to(features.dtype)
    features[..., second] += two[:, :, :few].flatten(2) * has
    standing = slice(TOLD.stop, TOLD.stop + width)
    features[..., standing] += one[:, :STILL].median(1).values.flatten(1)[:, None]
    return features, place + one


def read_film_set(paths: Sequence[Path], device: str, processes: int = 1) -> FilmSet | None:
    """Read packs, or folders of packs or films; None if they hold no film of one repetition."""
    packs = packs_of(paths)
    context = multiprocessing.get_context("spawn")
    with context.Pool(min(processes, max(len(packs), 1))) as pool:
        found = [seen for many in pool.imap(_of_pack, packs) for seen in many]
    if not found:
        print("no film of one repetition in these packs", flush=True)
        return None

    def padded(name: str) -> Tensor:
        parts = [getattr(seen, name) for seen in found]
        whole = np.zeros((len(parts), FRAMES, *parts[0].shape[1:]), np.float32)
        for row, part in zip(whole, parts, strict=True):
            row[: len(part)] = part
            row[len(part) :] = part[-1]
        return torch.from_numpy(whole).to(device)

    def stacked(name: str) -> Tensor:
        return torch.from_numpy(np.stack([getattr(seen, name) for seen in found])).to(device)

    lengths = torch.tensor([len(seen.features) for seen in found], device=device)
    return FilmSet(
        padded("features"),
        padded("place"),
        padded("path"),
        padded("joints"),
        stacked("axes"),
        stacked("camera"),
        stacked("events"),
        torch.tensor([seen.azimuth for seen in found], device=device),
        torch.arange(FRAMES, device=device)[None] < lengths[:, None],
        padded("astray"),
    )
