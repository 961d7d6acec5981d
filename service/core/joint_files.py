"""Files of joints from elsewhere, kept as clips are: what they are by their first bytes.

Nothing else of them is read here: they are opened in a worker, behind its walls.
"""

from __future__ import annotations

from models.contract.errors import InvalidRequest, PayloadTooLarge
from models.contract.note_codes import NoteCode, say
from service.core.intake import Expected

JSON = "application/json"
NPZ = "application/zip"
C3D = "application/octet-stream"
JOINT_TYPES = (JSON, NPZ, C3D)
"""Media types that joint files are kept under; C3D has none that is registered."""
_ZIP = b"PK\x03\x04"
"""Local file header of a ZIP file (ISO/IEC 21320-1), which ``.npz`` is."""
_C3D_KEY = 0x50
"""Second byte of every C3D file (The C3D File Format, user guide: header section, word 1)."""
_BLANKS = b" \t\r\n"
"""What may stand before a JSON value (RFC 8259, 2)."""


def joint_type_of(head: bytes) -> str | None:
    """Return the media type of a joint file from its first bytes; None when it is none."""
    if head.lstrip(_BLANKS).startswith(b"{"):
        return JSON
    if head.startswith(_ZIP):
        return NPZ
    return C3D if len(head) > 1 and head[1] == _C3D_KEY else None


def _no_joints() -> InvalidRequest:
    return InvalidRequest(say(NoteCode.JOINT_FILE_EXPECTED), pointer="/file")


JOINTS = Expected(
    recognise=joint_type_of,
    unknown=_no_joints,
    empty=_no_joints,
    too_large=lambda most: PayloadTooLarge(say(NoteCode.JOINT_FILE_TOO_LARGE, limit=most)),
)
