"""Were results made by one engine, from joints of the same networks? Else errors do not drop out.

The rule, for comparisons and progress alike:

- One engine identity and the same networks: errors that films of one place share drop out
  (`workers.decide.place`).
- Another identity or other networks: what they err alike is not known, so each value counts with
  its whole uncertainty, as where the camera moved; a note names what differs and what to do.

Results made before identities were stated count as of one engine where they state one version.
A result that this version cannot read is refused where it is read.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from models.contract.analysis import Analysis
from models.contract.note import Note, note
from models.contract.note_codes import NoteCode

SHOWN_DIGITS = 12
"""Digits of a digest in a note: enough to tell one from another (common practice)."""


def made_alike(analyses: Iterable[Analysis]) -> bool:
    """Return whether one engine made all results from joints of the same networks."""
    return not maker_notes(tuple(analyses))


def maker_notes(analyses: Sequence[Analysis]) -> tuple[Note, ...]:
    """Return a note on engines or networks that differ; nothing where they are the same."""
    engines = tuple(dict.fromkeys(_engine(one) for one in analyses))
    if len(engines) > 1:
        return (note(NoteCode.ENGINES_DIFFER, engines=engines),)
    networks = dict.fromkeys(_networks(one) for one in analyses)
    if len(networks) > 1:
        every, shared = frozenset.union(*networks), frozenset.intersection(*networks)
        names = tuple(sorted({name for name, _ in every - shared}))
        return (note(NoteCode.NETWORKS_DIFFER, networks=names),)
    return ()


def _networks(analysis: Analysis) -> frozenset[tuple[str, str]]:
    return frozenset((m.name, m.sha256) for m in analysis.models if m.role == "network")


def _engine(analysis: Analysis) -> str:
    return (analysis.engine_identity or analysis.engine_version)[:SHOWN_DIGITS]
