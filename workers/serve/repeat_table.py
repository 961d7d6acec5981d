"""How much of a metric's error differs between films of one place. Generated, not edited.

``REPEAT``: metric to (share of its standard uncertainty, count of pairs of films).
"""

from __future__ import annotations

REPEAT: dict[str, tuple[float, int]] = {}
