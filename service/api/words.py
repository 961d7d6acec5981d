"""The wording of codes, for apps that say reasons, notes and problems in their own pages."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Annotated, Any

from fastapi import APIRouter, Path, Request
from starlette.responses import Response

from models.contract.errors import NotFound
from models.contract.note_codes import NoteCode, say
from models.contract.wording import Wording
from models.words import LANGUAGES, catalogue
from service.api.dependencies import CanReadResults, represent
from service.api.routing import get_and_head

router = APIRouter(prefix="/v1/words", tags=["words"])
SECTIONS = (
    *("note", "title", "metric", "event", "instant", "kind", "view", "from_view", "filmed_view"),
    *("hand", "source", "method", "seen", "delay", "no_film"),
)
"""Parts of the catalogue that codes and values of documents lead to."""


@get_and_head(
    router,
    "/{language}",
    operation_id="read_words",
    summary="The wording of codes in one language",
    response_model=Wording,
)
def read_words(
    request: Request,
    language: Annotated[str, Path(description="Language tag.", examples=["de"])],
    _principal: CanReadResults,
) -> Response:
    """Return the templates of one language, by dotted name.

    A note with code `x` has the template `note.x`, a problem the title `title.CODE` and, for its
    `detail_code`, the template `note.DETAIL_CODE`. Braces name parameters, with an optional format:
    `{fps:0}` is a decimal pattern (Unicode TR 35), `{share:percent}` a ratio written as hundredths,
    `{view:from_view}` the entry `from_view.VALUE`, of a list each of them, `{films:names}` a list
    as it is. An entry with several forms is chosen by `count` (CLDR plural forms).
    """
    if language not in LANGUAGES:
        raise NotFound(say(NoteCode.LANGUAGE_UNKNOWN, known=LANGUAGES))
    words = catalogue(language)
    found = {section: words.find(section) for section in SECTIONS}
    document = Wording(language=language, languages=LANGUAGES, entries=dict(_flat(found)))
    return represent(request, document, headers={"content-language": language})


def _flat(node: Mapping[str, Any], path: str = "") -> Iterator[tuple[str, str | dict[str, str]]]:
    for key, value in node.items():
        if isinstance(value, Mapping) and "other" in value:
            yield f"{path}{key}", dict(value)
        elif isinstance(value, Mapping):
            yield from _flat(value, f"{path}{key}.")
        elif isinstance(value, str):
            yield f"{path}{key}", value
