"""Which of the shipped languages a reader gets (RFC 9110, Accept-Language)."""

from __future__ import annotations

from babel import negotiate_locale

from models.words.catalogue import DEFAULT, LANGUAGES


def negotiate(accept_language: str | None) -> str:
    """Return the shipped language that suits an Accept-Language header best.

    ``de-CH`` is served by ``de`` (lookup, RFC 4647). Without a header, with ``*``, and where no
    language suits, it is the default. A broken part of the header is passed over.
    """
    wanted = []
    for place, part in enumerate((accept_language or "").split(",")):
        tag, _, parameter = part.partition(";")
        quality = _quality(parameter)
        if tag.strip() and quality > 0:
            wanted.append((-quality, place, tag.strip()))
    preferred = [DEFAULT if tag == "*" else tag.lower() for _, _, tag in sorted(wanted)]
    return negotiate_locale(preferred, LANGUAGES, sep="-") or DEFAULT


def _quality(parameter: str) -> float:
    name, _, value = parameter.partition("=")
    if not name.strip():
        return 1.0
    try:
        quality = float(value)
    except ValueError:
        return 0.0
    return quality if name.strip().lower() == "q" and 0 <= quality <= 1 else 0.0
