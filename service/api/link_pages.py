"""Pages for those who come with a link, in their language, complete without any other host."""

from __future__ import annotations

import json
from typing import Any

from jinja2 import Environment, PackageLoader, select_autoescape
from markupsafe import Markup
from starlette.responses import HTMLResponse

from models.contract.errors import NotFound, ServewrightError
from models.words import Words, catalogue, negotiate

_environment = Environment(
    loader=PackageLoader("service.api", "templates"),
    autoescape=select_autoescape(),
    trim_blocks=True,
    lstrip_blocks=True,
)
_COMMON = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'"
READING = f"{_COMMON}; media-src 'self'"
SENDING = f"{_COMMON}; script-src 'self'; connect-src 'self'"


def link_page(
    template: str, words: Words, policy: str = _COMMON, status: int = 200, **values: Any
) -> HTMLResponse:
    """Return a page that nobody else may keep or index."""
    html = _environment.get_template(template).render(words=words, **values)
    headers = {
        "content-security-policy": f"{policy}; frame-ancestors 'none'",
        "cache-control": "private, no-store",
        "x-robots-tag": "noindex, nofollow",
        "content-language": words.language,
        "vary": "accept-language",
    }
    return HTMLResponse(html, status_code=status, headers=headers)


def apology(error: ServewrightError, language: str | None) -> HTMLResponse:
    """Return a page that says why there is nothing here."""
    words = catalogue(negotiate(language))
    unknown = isinstance(error, NotFound)
    title = words("shared.no_such_page" if unknown else f"title.{error.code}")
    text = words("shared.no_such_page_text") if unknown else words.note(error.note)
    page = link_page("apology.html", words, status=error.status, title=title, text=text)
    page.headers.update(error.extra.get("headers", {}))
    return page


def script_data(values: Any) -> Markup:
    """Return JSON that can stand inside a script element."""
    text = json.dumps(values, ensure_ascii=False).replace("<", "\\u003c").replace("&", "\\u0026")
    return Markup(text)
