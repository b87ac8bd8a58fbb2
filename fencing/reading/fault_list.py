"""Faults gathered while a document is read, so that a refusal names all of them at once."""

from __future__ import annotations

from collections.abc import Iterable
from difflib import get_close_matches

from fencing.model.faults import Fault, InvalidDocument

MAX_FAULTS = 500
"""A refusal lists this many; a document that is wrong everywhere is not answered with megabytes."""


class FaultList:
    """The faults found so far, in the order of reading."""

    __slots__ = ("found", "unlisted")

    def __init__(self) -> None:
        self.found: list[Fault] = []
        self.unlisted = 0

    def add(self, pointer: str, code: str, text: str) -> None:
        """Note a fault; after the first 500 it is only counted [faults].

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
        """Whether no more will be listed [500 are], so that no more hints are worth looking for.

        >>> FaultList().full
        False
        """
        return len(self.found) >= MAX_FAULTS

    def refuse(self) -> None:
        """Raise what was found [1 fault or more]; do nothing where nothing was.

        Raises:
            Refused: everything found.

        >>> FaultList().refuse()
        """
        if self.unlisted:
            more = Fault("", "faults.more", f"{self.unlisted} more faults are not listed; mend these first")
            raise InvalidDocument([*self.found, more])
        if self.found:
            raise InvalidDocument(self.found)


def step(pointer: str, key: str | int) -> str:
    """The pointer one member further in [a key or a place]. Source: RFC 6901 section 3.

    >>> step("/runs/0", "a/b~c")
    '/runs/0/a~1b~0c'
    """
    return f"{pointer}/{str(key).replace('~', '~0').replace('/', '~1')}"


def nearest(word: str, known: Iterable[str]) -> str | None:
    """The known word most like ``word`` [its first 80 letters]; None where none is like it. Source: house rule.

    >>> nearest("lenght_mm", ("height_mm", "length_mm", "turn_deg"))
    'length_mm'
    """
    folded = {name.casefold(): name for name in known}
    found = get_close_matches(word[:80].casefold(), folded, n=1, cutoff=0.55)
    return folded[found[0]] if found else None


def listed(words: Iterable[str], last: str = "or") -> str:
    """Words as a sentence lists them [1 word or more].

    >>> listed(["free", "corner", "wall"])
    'free, corner or wall'
    """
    *before, final = words
    return f"{', '.join(before)} {last} {final}" if before else final


def shown(value: object) -> str:
    """A value as a sentence quotes it, never long [32 characters] and never with characters that spoil a line.

    >>> shown("x" * 100)
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
