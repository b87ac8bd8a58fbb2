"""Cautions of a document, chosen by the facts of the job, in words for its reader.

Documents call :func:`select_cautions`; no other code writes cautions. To add a caution, add an entry to
``fencing/cautions/register.py`` and its case to tests/fencing/test_cautions.py.
"""

from __future__ import annotations

from dataclasses import dataclass

from fencing.cautions.facts import CautionFacts
from fencing.cautions.register import REGISTER, Reader, Source

__all__ = ["PrintedCaution", "Reader", "select_cautions"]


@dataclass(frozen=True, slots=True)
class PrintedCaution:
    """Caution as printed in a document."""

    id: str
    text: str
    kind: Source
    source: str


def select_cautions(facts: CautionFacts, reader: Reader) -> tuple[PrintedCaution, ...]:
    """Return the cautions that apply to a job, in words for one reader.

    Args:
        facts: facts of the job.
        reader: reader of the document.

    Returns:
        Cautions in the order of the register: those that stop work come first.

    Source: house rule; each caution has its own source.

    Example:
        >>> [caution.id for caution in select_cautions(CautionFacts(digging=True, concrete=True), Reader.CREW)]
        ['services', 'cement']
    """
    known = {name: getattr(facts, name) for name in ("highest", "local_height", "pool_lowest", "pool_gap")}
    return tuple(
        PrintedCaution(caution.id, caution.words[reader].format(**known), caution.kind, caution.source)
        for caution in REGISTER
        if reader in caution.words and caution.applies(facts)
    )
