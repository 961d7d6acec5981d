"""Lists of a tenant's rows that nothing but their path narrows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from fastapi import Request, Response

from service.api.dependencies import PageRequest
from service.core.keyset import Owned, page
from service.core.principal import Principal
from service.core.wiring import Wiring


def listed(
    request: Request,
    response: Response,
    wired: Wiring,
    principal: Principal,
    paging: PageRequest,
    table: type[Owned],
    scope: str,
    bound: Mapping[str, Any] | None = None,
) -> tuple[Sequence[Owned], str | None]:
    """Return the rows of the page that is asked for, newest first, and the next page's cursor.

    The Link header of the next page is set.

    Parameters
    ----------
    scope : str
        Names the list in its cursors.
    bound : mapping or None
        Columns whose values the path gives.
    """
    filters = bound or {}
    found = page(
        wired.database,
        table,
        principal,
        after=paging.after(scope, filters),
        limit=paging.limit,
        filters=filters,
    )
    path = request.url.path
    return found.rows, paging.finish(response, path, scope, filters, found.next, in_query={})
