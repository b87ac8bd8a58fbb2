"""Faults of a document, the list that collects them while it is read, and notices of a finished take-off.

A *fault* makes a document invalid: the whole document is rejected, with all faults at once. A *notice* does not: the
fence can be built, and the notice states what to check.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from difflib import get_close_matches
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


MAX_FAULTS = 500
"""Maximum number of faults that are listed for one document. It limits the size of the response."""


class FaultList:
    """Faults found so far, in reading order."""

    __slots__ = ("found", "unlisted")

    def __init__(self) -> None:
        self.found: list[Fault] = []
        self.unlisted = 0

    def add(self, pointer: str, code: str, text: str) -> None:
        """Add a fault. After the first 500 faults, further ones are only counted.

        >>> faults = FaultList()
        >>> faults.add("/runs/0/length_mm", "range", "write 1 to 20000000")
        >>> faults.found[0].pointer
        '/runs/0/length_mm'
        """
        if len(self.found) < MAX_FAULTS:
            self.found.append(Fault(pointer, code, text))
        else:
            self.unlisted += 1

    @property
    def full(self) -> bool:
        """Return whether the list is full [500 faults], so that no more hints are needed.

        >>> FaultList().full
        False
        """
        return len(self.found) >= MAX_FAULTS

    def refuse(self) -> None:
        """Raise all faults found; do nothing if there are none.

        Raises:
            InvalidDocument: there is at least one fault.

        >>> FaultList().refuse()
        """
        if self.unlisted:
            more = Fault("", "faults.more", f"{self.unlisted} more faults are not listed; correct these first")
            raise InvalidDocument([*self.found, more])
        if self.found:
            raise InvalidDocument(self.found)


def extend_pointer(pointer: str, key: str | int) -> str:
    """Return the pointer to a member [key] or item [index] below ``pointer``. Source: RFC 6901 section 3.

    >>> extend_pointer("/runs/0", "a/b~c")
    '/runs/0/a~1b~0c'
    """
    return f"{pointer}/{str(key).replace('~', '~0').replace('/', '~1')}"


def find_nearest(word: str, known: Iterable[str]) -> str | None:
    """Return the known word most similar to ``word`` [its first 80 letters], or None. Source: house rule.

    >>> find_nearest("lenght_mm", ("height_mm", "length_mm", "turn_deg"))
    'length_mm'
    """
    folded = {name.casefold(): name for name in known}
    matches = get_close_matches(word[:80].casefold(), folded, n=1, cutoff=0.55)
    return folded[matches[0]] if matches else None


def join_words(words: Iterable[str], last: str = "or") -> str:
    """Join words for a sentence, with commas and a conjunction [1 word or more].

    >>> join_words(["free", "corner", "wall"])
    'free, corner or wall'
    """
    *before, final = words
    return f"{', '.join(before)} {last} {final}" if before else final


def show_value(value: object) -> str:
    """Return a value as text for a sentence: at most 32 characters, without control characters.

    >>> show_value("x" * 100)
    "'xxxxxxxxxxxxxxxxxxxxxxxxxxxxx…'"
    """
    if value is None or isinstance(value, bool):
        return {None: "null", True: "true", False: "false"}[value]
    if isinstance(value, dict):
        return "an object"
    if isinstance(value, list):
        return "a list"
    if isinstance(value, str):
        return ascii(value) if len(value) <= 30 else f"{ascii(value[:29])[:-1]}…'"
    try:
        text = str(value)
    except ValueError:  # an integer of more digits than Python prints
        return "a number of thousands of digits"
    return text if len(text) <= 30 else f"{text[:29]}…"
