"""Faults of a document, and notices of a finished take-off.

A *fault* makes a document invalid: the whole document is rejected, with all faults at once. A *notice* does not: the
fence can be built, and the notice states what to check.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum


@dataclass(frozen=True, slots=True, order=True)
class Fault:
    """One error in a document.

    ``pointer`` is an RFC 6901 JSON Pointer into the document (``/runs/0/gates/1/from_mm``), ``code`` is for programs and
    never changes, ``text`` states what is accepted.
    """

    pointer: str
    code: str
    text: str


class InvalidDocument(ValueError):
    """Rejection of a whole document; ``faults`` has all its errors, at least one."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults: tuple[Fault, ...] = tuple(faults)
        if not self.faults:
            raise ValueError("InvalidDocument needs at least one fault")
        super().__init__("; ".join(f"{fault.pointer or '/'}: {fault.text}" for fault in self.faults))


class Severity(StrEnum):
    """Severity of a notice. A ``STOP`` prevents sending a quote until a user overrides it."""

    INFO = "info"
    WARNING = "warning"
    STOP = "stop"


@dataclass(frozen=True, slots=True)
class Notice:
    """Remark about a fence that can be built; ``element`` is the id of a run, bay, post, gate or retrofit."""

    code: str
    severity: Severity
    element: str
    text: str
