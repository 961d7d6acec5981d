"""The look of one's own organisation on its pages."""

from __future__ import annotations

from typing import Any

from anyio import to_thread
from fastapi import APIRouter, Request, Response

from models.contract.branding import GROUND, BrandingRequest, BrandingResource, contrast
from models.contract.errors import NotFound
from service.api.conditional import tag_of
from service.api.dependencies import CanAdminister, CanReadResults, Wired, represent
from service.api.file_bodies import file_schema
from service.api.preconditions import not_modified
from service.api.routing import get_and_head
from service.core.account_tables import Branding
from service.core.branding import TYPES

router = APIRouter(prefix="/v1/branding", tags=["organisations"])
_IMAGES: dict[int | str, dict[str, Any]] = {
    200: {"content": {kind: {} for kind in TYPES.values()}, "description": "The logo file."}
}
ANY = "application/octet-stream"
"""What it is, is known by its content."""
_BODY = {"requestBody": {"required": True, "content": {ANY: {"schema": file_schema(ANY)}}}}


def branding_resource(row: Branding | None) -> BrandingResource:
    """Return the look of an organisation as a resource; of none, the shipped one."""
    links = {"self": "/v1/branding"}
    if row is not None and row.logo is not None:
        links["logo"] = "/v1/branding/logo"
    colour = None if row is None else row.colour
    return BrandingResource.model_validate(
        {
            "name": None if row is None else row.name,
            "colour": colour,
            "contrast": None if colour is None else round(contrast(colour, GROUND), 2),
            "logo": None if row is None else row.logo_type,
            "updated_at": None if row is None else row.updated_at,
            "links": links,
        }
    )


@get_and_head(
    router,
    "",
    operation_id="read_branding",
    summary="Read how your pages look",
    response_model=BrandingResource,
)
def read_branding(request: Request, wired: Wired, principal: CanReadResults) -> Response:
    """Read name, colour and logo of your organisation's pages; null where they look as shipped."""
    return represent(request, branding_resource(wired.brandings.get(principal.tenant_id)))


@router.put(
    "",
    operation_id="put_branding",
    summary="Set name and colour of your pages",
    response_model=BrandingResource,
)
def put_branding(
    request: Request, wired: Wired, principal: CanAdminister, body: BrandingRequest
) -> Response:
    """Set the name above your pages and the colour of links, marks and lines in them.

    A colour of less than 4.5 : 1 against the page is refused with the nearest that can be read.
    Pages that are made afterwards have it; what was made stays as it is.
    """
    return represent(request, branding_resource(wired.brandings.put(principal, body)))


@router.delete(
    "",
    operation_id="delete_branding",
    summary="Let your pages look as shipped again",
    status_code=204,
)
def delete_branding(wired: Wired, principal: CanAdminister) -> Response:
    """Remove name, colour and logo."""
    wired.brandings.delete(principal)
    return Response(status_code=204)


@router.put(
    "/logo",
    operation_id="put_logo",
    summary="Send the logo of your pages",
    response_model=BrandingResource,
    openapi_extra=_BODY,
)
async def put_logo(request: Request, wired: Wired, principal: CanAdminister) -> Response:
    """Send a logo: PNG or JPEG by its content, at most 150 KB, at most 2000 pixels either way. Name
    or colour are set before.
    """
    data = await request.body()
    row = await to_thread.run_sync(wired.brandings.put_logo, principal, data)
    return represent(request, branding_resource(row))


@get_and_head(
    router,
    "/logo",
    operation_id="read_logo",
    summary="Fetch the logo of your pages",
    response_class=Response,
    responses=_IMAGES,
)
def read_logo(request: Request, wired: Wired, principal: CanReadResults) -> Response:
    """Fetch the logo file as it was sent."""
    row = wired.brandings.get(principal.tenant_id)
    if row is None or row.logo is None:
        raise NotFound()
    headers = {"etag": tag_of(row.logo), "cache-control": "private, no-cache"}
    if not_modified(request, headers["etag"]):
        return Response(status_code=304, headers=headers)
    return Response(row.logo, media_type=row.logo_type, headers=headers)
