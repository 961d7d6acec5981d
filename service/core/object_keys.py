"""Under which keys the objects of an organisation lie.

``clips/CLIP/film``, ``uploads/UPLOAD/…``, ``voices/VOICE/voice``, ``analyses/ANALYSIS/ATTEMPT/…``,
``documents/DOCUMENT/ATTEMPT/…``: those of the first organisation at the root, as they were before
there were others; those of each other below ``tenants/ORGANISATION/``. No key holds a name or
digest of a caller's.
"""

from __future__ import annotations

from service.core.table_base import MAIN_TENANT

TENANTS = "tenants"


def tenant_root(tenant_id: str) -> str:
    """Return what every key of an organisation begins with; empty, or ending in a slash."""
    return "" if tenant_id == MAIN_TENANT else f"{TENANTS}/{tenant_id}/"


def clip_root(tenant_id: str, clip_id: str) -> str:
    """Return the prefix that holds all objects of a clip itself."""
    return f"{tenant_root(tenant_id)}clips/{clip_id}"


def incoming_key(tenant_id: str, clip_id: str) -> str:
    """Return the key callers send to directly. It is never read again once it was checked."""
    return f"{clip_root(tenant_id, clip_id)}/incoming"


def clip_key(tenant_id: str, clip_id: str) -> str:
    """Return the key of a film."""
    return f"{clip_root(tenant_id, clip_id)}/film"


def upload_root(tenant_id: str, upload_id: str) -> str:
    """Return the prefix that holds what has arrived of an upload in parts."""
    return f"{tenant_root(tenant_id)}uploads/{upload_id}"


def voice_root(tenant_id: str, voice_id: str) -> str:
    """Return the prefix that holds a voice message."""
    return f"{tenant_root(tenant_id)}voices/{voice_id}"


def owner_of(key: str) -> str:
    """Return the organisation whose object it is."""
    parts = key.split("/", 2)
    return parts[1] if parts[0] == TENANTS else MAIN_TENANT
