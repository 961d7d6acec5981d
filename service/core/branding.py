"""The look of an organisation on its pages: name, colour, logo."""

from __future__ import annotations

import io

from PIL import Image, UnidentifiedImageError

from models.contract.branding import BrandingRequest, check_colour
from models.contract.errors import InvalidRequest, NotFound, UnsupportedMediaType
from models.contract.note_codes import NoteCode, say
from service.core.account_tables import Branding
from service.core.database import Database
from service.core.principal import Principal

MOST_LOGO_BYTES = 150 * 1024
"""Largest logo file, bytes: it stands in every page (working value)."""
MOST_LOGO_PIXELS = 2000
"""Longest side of a logo, pixels (working value)."""
TYPES = {"PNG": "image/png", "JPEG": "image/jpeg"}


def logo_type(data: bytes) -> str:
    """Return the media type of a logo by its content.

    Raises
    ------
    UnsupportedMediaType, InvalidRequest
        It is neither PNG nor JPEG, or cannot be read; it is too large.
    """
    try:
        with Image.open(io.BytesIO(data), formats=tuple(TYPES)) as image:
            if max(image.size) > MOST_LOGO_PIXELS:
                raise InvalidRequest(say(NoteCode.LOGO_TOO_LARGE, most=MOST_LOGO_PIXELS))
            image.load()
            return TYPES[str(image.format)]
    except (UnidentifiedImageError, OSError, SyntaxError, ValueError) as error:
        raise UnsupportedMediaType(say(NoteCode.LOGO_TYPE)) from error


class Brandings:
    """Keeps the look of organisations. Pages that are made afterwards have it."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def get(self, tenant_id: str) -> Branding | None:
        """Return the look of an organisation; None = as shipped."""
        with self._database.read() as session:
            return session.get(Branding, tenant_id)

    def put(self, principal: Principal, body: BrandingRequest) -> Branding:
        """Set name and colour; the logo stays.

        Raises
        ------
        InvalidRequest
            The colour cannot be read on a page; the problem names the nearest that can.
        """
        check_colour(body.colour)
        with self._database.write() as session:
            row = session.get(Branding, principal.tenant_id)
            now = self._database.now(session)
            if row is None:
                row = Branding(tenant_id=principal.tenant_id, updated_at=now, name=body.name)
                session.add(row)
            row.name, row.colour, row.updated_at = body.name, body.colour, now
            session.flush()
            return row

    def put_logo(self, principal: Principal, data: bytes) -> Branding:
        """Set the logo of an organisation that has a name."""
        kind = logo_type(data)
        with self._database.write() as session:
            row = session.get(Branding, principal.tenant_id)
            if row is None:
                raise NotFound(say(NoteCode.BRAND_WITHOUT_NAME))
            row.logo, row.logo_type = data, kind
            row.updated_at = self._database.now(session)
            session.flush()
            return row

    def delete(self, principal: Principal) -> None:
        """Let pages look as they are shipped again, also where they do already."""
        with self._database.write() as session:
            row = session.get(Branding, principal.tenant_id)
            if row is not None:
                session.delete(row)
