"""Every way a document can be refused, and every remark a finished take-off can carry.

A *fault* stops the work: the document is refused whole, all faults at once. A *notice* does not: the
fence can be built, and the notice says what to look at.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum


@dataclass(frozen=True, slots=True, order=True)
class Fault:
    """One thing wrong with a document.

    ``pointer`` is an RFC 6901 JSON Pointer into the refused document (``/runs/0/gates/1/from_mm``),
    ``code`` is for machines and never changes, ``text`` says what would be accepted.
    """

    pointer: str
    code: str
    text: str


class InvalidDocument(ValueError):
    """A document is refused whole; ``faults`` names everything that is wrong with it, never none."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults: tuple[Fault, ...] = tuple(faults)
        if not self.faults:
            raise ValueError("a refusal names at least one fault")
        super().__init__("; ".join(f"{fault.pointer or '/'}: {fault.text}" for fault in self.faults))


class Level(StrEnum):
    """How much a notice matters. A ``STOP`` keeps a quote from being sent unless somebody overrides it."""

    INFO = "info"
    WARNING = "warning"
    STOP = "stop"


@dataclass(frozen=True, slots=True)
class Notice:
    """A remark about a fence that can be built: ``where`` is the id of a run, bay, post, gate or retrofit."""

    code: str
    level: Level
    where: str
    text: str
