"""Cautions: what a document must warn of, chosen by the facts of the job and said in the words of its reader.

Documents ask :func:`cautions_for`; nothing else writes a caution. How to add one: a row in ``fencing/cautions/register.py`` with
its words, and its case in tests/fencing/cautions/test_select.py.
"""

from __future__ import annotations

from dataclasses import dataclass

from fencing.cautions.facts import CautionFacts
from fencing.cautions.register import REGISTER, Reader, Source

__all__ = ["PrintedCaution", "Reader", "cautions_for"]


@dataclass(frozen=True, slots=True)
class PrintedCaution:
    """A caution as a document prints it."""

    id: str
    text: str
    kind: Source
    source: str


def cautions_for(facts: CautionFacts, reader: Reader) -> tuple[PrintedCaution, ...]:
    """Cautions that apply to a job, in the words for one reader.

    Args:
        facts: of the job.
        reader: who the document is for.

    Returns:
        In the order of the register: what stops work first.

    Source: house rule; each caution names its own.

    Example:
        >>> [caution.id for caution in cautions_for(CautionFacts(digging=True, concrete=True), Reader.CREW)]
        ['services', 'cement']
    """
    known = {name: getattr(facts, name) for name in ("highest", "local_height", "pool_lowest", "pool_gap")}
    return tuple(
        PrintedCaution(caution.id, caution.words[reader].format(**known), caution.kind, caution.source)
        for caution in REGISTER
        if reader in caution.words and caution.applies(facts)
    )
