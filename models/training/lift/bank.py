"""A store of movements to learn from: joints of a canonical body at 60 Hz, padded, with events."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import torch
from scipy.interpolate import CubicSpline
from torch import Generator, Tensor

from models.contract.skeleton import CANONICAL_BODY, canonical
from workers.engine.lift import TIMED
from workers.engine.lift_input import RATE_HZ

Array = np.ndarray[Any, np.dtype[Any]]
JOINTS = len(CANONICAL_BODY)
FRAMES = 288
"""Length of the sequences that are learned from, even frames (4.8 s)."""
LONGEST = 420
"""Longest movement that is kept, even frames; longer ones lose their end."""
LEAD_S = (0.1, 1.0)
"""A window begins this long before the movement starts, seconds."""
ENDS_EARLY = 0.25
"""Share of the sequences that end soon after contact, as films do."""
_TRUTH_NAME = {"loading": "lowest_pelvis"}


@dataclass(frozen=True)
class Movement:
    """One movement of a right-hander in the court frame.

    Attributes
    ----------
    joints : ndarray, shape (T, 21, 3)
        Standing heights, at 60 Hz.
    start : int
        Row at which it starts to move.
    events : ndarray, shape (4,)
        Rows of the events of `workers.engine.lift.TIMED`; NaN where there is none.
    """

    joints: Array
    start: int
    events: Array


@dataclass(frozen=True)
class Bank:
    """Movements as tensors: joints (N, LONGEST, 21, 3) half precision, standing heights."""

    joints: Tensor
    length: Tensor
    start: Tensor
    events: Tensor

    def __len__(self) -> int:
        return len(self.joints)

    def to(self, device: str) -> Bank:
        """The same on a device."""
        parts = (self.joints, self.length, self.start, self.events)
        return Bank(*(part.to(device) for part in parts))

    def part(self, rows: slice) -> Bank:
        """Some of the movements."""
        return Bank(self.joints[rows], self.length[rows], self.start[rows], self.events[rows])

    def draw(self, count: int, chance: Generator) -> Window:
        """Windows of random movements, beginning in the still stance."""
        device = self.joints.device
        rows = torch.randint(len(self), (count,), generator=chance, device=device)
        return self.windows(rows, chance)

    def windows(self, rows: Tensor, chance: Generator) -> Window:
        """Windows of some movements."""
        device = self.joints.device

        def uniform(low: float, high: float) -> Tensor:
            return low + (high - low) * torch.rand(len(rows), generator=chance, device=device)

        length, events = self.length[rows], self.events[rows]
        lead = (uniform(*LEAD_S) * RATE_HZ).long()
        begin = (self.start[rows] - lead).clamp_min(0)
        loaded = events[:, TIMED_LOADING]
        bent = torch.isfinite(loaded) & ~torch.isfinite(events[:, TIMED_CONTACT])
        bent &= uniform(0.0, 1.0) < BENT_SHARE
        inside_hold = (torch.nan_to_num(loaded) + uniform(0.1, 0.7) * RATE_HZ).long()
        begin = torch.where(bent, torch.minimum(inside_hold, length - SHORTEST), begin)
        when = torch.arange(FRAMES, device=device)[None]
        place = begin[:, None] + when
        end = length
        contact = events[:, TIMED_CONTACT]
        cut = (contact + uniform(0.15, 0.6) * RATE_HZ).long()
        early = (uniform(0.0, 1.0) < ENDS_EARLY) & torch.isfinite(contact)
        end = torch.where(early, torch.minimum(end, cut), end)
        inside = place < end[:, None]
        place = torch.minimum(place, end[:, None] - 1)
        joints = self.joints[rows[:, None], place].float()
        return Window(joints, inside, events - begin[:, None])


TIMED_CONTACT = [event.value for event in TIMED].index("contact")
TIMED_LOADING = [event.value for event in TIMED].index("loading")
BENT_SHARE = 0.35
"""Share of the holds that are seen from within the hold on, as in films that begin there."""
SHORTEST = 30
"""Fewest frames of such a window."""


@dataclass(frozen=True)
class Window:
    """What one batch is made of: joints (B, T, 21, 3), inside (B, T), events (B, 4) in rows."""

    joints: Tensor
    inside: Tensor
    events: Tensor


def bank_of(movements: Iterable[Movement]) -> Bank:
    """Stack movements."""
    joints, length, start, events = [], [], [], []
    for one in movements:
        rows = one.joints[:LONGEST]
        length.append(len(rows))
        pad = np.repeat(rows[-1:], LONGEST - len(rows), axis=0)
        joints.append(torch.from_numpy(np.concatenate([rows, pad]).astype(np.float16)))
        start.append(one.start)
        events.append(torch.from_numpy(one.events.astype(np.float32)))
    return Bank(torch.stack(joints), torch.tensor(length), torch.tensor(start), torch.stack(events))


def joined(banks: Sequence[Bank]) -> Bank:
    """Several banks as one."""
    names = ("joints", "length", "start", "events")
    return Bank(*(torch.cat([getattr(bank, name) for bank in banks]) for name in names))


def save(bank: Bank, path: Path) -> None:
    """Write a bank, without its padding."""
    kept = [bank.joints[i, : bank.length[i]].numpy() for i in range(len(bank))]
    np.savez_compressed(
        path,
        joints=np.concatenate(kept),
        length=bank.length.numpy(),
        start=bank.start.numpy(),
        events=bank.events.numpy(),
    )


def load(path: Path) -> Bank:
    """Read what `save` wrote."""
    with np.load(path) as file:
        ends = np.cumsum(file["length"])
        parts = np.split(file["joints"], ends[:-1])
        rows = zip(parts, file["start"], file["events"], strict=True)
        return bank_of(Movement(j, int(s), e) for j, s, e in rows)


def of_documents(folder: Path) -> Iterator[Movement]:
    """Movements of truth documents (``python -m models.training motions``)."""
    for path in sorted(folder.glob("[0-9]*.json")):
        document = json.loads(path.read_text("utf-8"))
        found = of_document(document)
        if found is not None:
            yield found


def of_document(document: dict[str, Any]) -> Movement | None:
    """The movement of one truth document; None if it has no one serve or is too short."""
    if not document["serves"]:
        return None
    joints: Array = np.asarray(document["joints3d"], dtype=np.float64)[:, :JOINTS]
    joints = canonical(joints, left_handed=document["handedness"] == "left", axis=1)
    given = document.get("frame_times_s")
    time = np.asarray(given) if given else np.arange(len(joints)) / document["fps"]
    grid = np.arange(time[0], time[-1], 1.0 / RATE_HZ)
    if len(grid) < 60:
        return None
    known = document["serves"][0]["event_times_s"]
    when = [known.get(_TRUTH_NAME.get(event, event), np.nan) for event in TIMED]
    when = [np.nan if value is None else value for value in when]
    rows = (np.array([known["start"], *when], dtype=np.float64) - grid[0]) * RATE_HZ
    smooth = CubicSpline(time, joints, axis=0)(grid) / float(document["body_height_m"])
    return Movement(smooth - _origin(smooth), max(int(rows[0]), 0), rows[1:])


def _origin(joints: Array) -> Array:
    """Middle of the ankles at the start, on the floor: keeps half precision fine."""
    ankles = joints[:10, CANONICAL_BODY.pair("ankle")].mean((0, 1))
    return np.asarray(ankles * np.array([1.0, 1.0, 0.0]))
