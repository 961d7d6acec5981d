"""All wording that people read: one folder of TOML files a language, and what fills it in.

A sentence is a template under a dotted name; its places name parameters, with an optional format:
``{fps:0}`` (a decimal pattern of Unicode TR 35), ``{share:percent}`` (a ratio as a whole number of
hundredths), ``{view:from_view}`` (the words of that table; of a list, each of them),
``{films:names}`` (a list of names as they are), ``{names:metric}`` (titles of metrics by their
keys). A table with ``other`` holds plural forms (CLDR names), chosen by the parameter ``count``;
``zero`` is for nought.
"""

from __future__ import annotations

from models.words.catalogue import LANGUAGES, catalogue, english
from models.words.negotiate import negotiate
from models.words.words import THIN, Measured, Stated, Words

__all__ = ["LANGUAGES", "THIN", "Measured", "Stated", "Words", "catalogue", "english", "negotiate"]
