"""Films that callers send to the object store in parts, so that a broken connection costs one."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import update

from models.contract.errors import ClipCompleteAlready, FilmNotArrived, NoDirectUpload
from models.contract.note_codes import NoteCode, say
from service.core.database import Database
from service.core.object_keys import incoming_key
from service.core.objects import ObjectMissing, Objects, PartArrived, Parts
from service.core.tables import Clip

PART_BYTES = 8 * 1024**2
"""Smallest part, bytes; S3 asks for at least 5 MiB in all but the last."""
MOST_PARTS = 1000
"""Most parts of a film; S3 allows 10,000, but each has an address in the answer."""
NAMED = 20
"""Missing parts that a problem names at most."""


@dataclass(frozen=True, slots=True)
class PlannedPart:
    """One part of a film: which bytes, whether it has arrived, and where it goes if not."""

    number: int
    first_byte: int
    size_bytes: int
    arrived: bool
    url: str | None


@dataclass(frozen=True, slots=True)
class PartsPlan:
    """How a film is sent in parts."""

    part_bytes: int
    parts: tuple[PlannedPart, ...]
    expires_in_s: int


def part_bytes_of(size_bytes: int) -> int:
    """Return the size of all parts but the last: whole MiB, so that there are not too many."""
    mib = 1024**2
    return max(PART_BYTES, -(-size_bytes // (MOST_PARTS * mib)) * mib)


def windows(size_bytes: int) -> dict[int, tuple[int, int]]:
    """Return first byte and size of each part, by number."""
    step = part_bytes_of(size_bytes)
    return {
        index + 1: (first, min(step, size_bytes - first))
        for index, first in enumerate(range(0, size_bytes, step))
    }


class MultipartUploads:
    """Plans uploads in parts, and puts them together."""

    def __init__(self, database: Database, objects: Objects, ttl_s: int) -> None:
        self._database = database
        self._objects = objects
        self._ttl = ttl_s

    def plan(self, clip: Clip) -> PartsPlan:
        """Return which parts are there and where the others go; begins the upload if need be."""
        if clip.size_bytes is None or clip.state != "uploading":
            raise ClipCompleteAlready(about=clip.id)
        store = self._objects.parts
        if store is None:
            raise NoDirectUpload(about=clip.id)
        key = incoming_key(clip.tenant_id, clip.id)
        upload_id, there = self._upload(store, clip, key)
        parts = []
        for number, (first, size) in windows(clip.size_bytes).items():
            arrived = number in there and there[number].size_bytes == size
            url = None if arrived else store.sign(key, upload_id, number, size, self._ttl)
            parts.append(PlannedPart(number, first, size, arrived, url))
        return PartsPlan(part_bytes_of(clip.size_bytes), tuple(parts), self._ttl)

    def join(self, clip: Clip) -> None:
        """Make one object of the parts of a film, if it is sent so.

        Raises
        ------
        FilmNotArrived
            Parts are missing.
        """
        store = self._objects.parts
        if store is None or clip.upload_id is None or clip.size_bytes is None:
            return
        key = incoming_key(clip.tenant_id, clip.id)
        try:
            there = store.arrived(key, clip.upload_id)
            wanted = windows(clip.size_bytes)
            missing = [
                number
                for number, (_, size) in wanted.items()
                if number not in there or there[number].size_bytes != size
            ]
            if missing:
                said = say(NoteCode.PARTS_MISSING, count=len(missing), parts=_named(missing))
                raise FilmNotArrived(said, about=clip.id)
            store.join(key, clip.upload_id, {number: there[number] for number in wanted})
        except ObjectMissing:  # put together by another request, or thrown away as too old
            pass
        self._forget(clip)

    def _upload(self, store: Parts, clip: Clip, key: str) -> tuple[str, dict[int, PartArrived]]:
        """Return the upload of a film with the parts that are there; a new one if need be."""
        if clip.upload_id is not None:
            try:
                return clip.upload_id, store.arrived(key, clip.upload_id)
            except ObjectMissing:  # thrown away as too old
                self._forget(clip)
        begun = store.begin(key, clip.media_type)
        with self._database.write() as session:
            session.execute(
                update(Clip)
                .where(Clip.id == clip.id, Clip.upload_id.is_(None))
                .values(upload_id=begun)
            )
        with self._database.read() as session:
            kept = session.get(Clip, clip.id)
        if kept is None or kept.upload_id is None or kept.upload_id == begun:
            return begun, {}
        store.give_up(key, begun)  # another request began one at the same moment
        return kept.upload_id, store.arrived(key, kept.upload_id)

    def _forget(self, clip: Clip) -> None:
        with self._database.write() as session:
            session.execute(
                update(Clip)
                .where(Clip.id == clip.id, Clip.upload_id == clip.upload_id)
                .values(upload_id=None)
            )


def _named(numbers: list[int]) -> tuple[str, ...]:
    shown = [str(number) for number in numbers[:NAMED]]
    return (*shown, "…") if len(numbers) > NAMED else tuple(shown)
