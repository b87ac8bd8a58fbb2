"""Boxes to type into: one field of a page's form with its label, what was typed and what is wrong with it."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from django.utils.html import format_html
from django.utils.safestring import SafeString

from fencing.faults import Refused


@dataclass(frozen=True, slots=True)
class Box:
    """One field. ``kind`` is text, area, number, email, password, date, select, pick, check, file, fixed or hidden.

    To ``pick`` is to type with the choices offered; what is ``fixed`` is only shown.
    """

    name: str
    label: str
    value: str = ""
    kind: str = "text"
    fault: str = ""
    hint: str = ""
    choices: tuple[tuple[str, str], ...] = ()
    most: int = 0
    wide: bool = False
    fills: str = ""

    @property
    def id(self) -> str:
        return f"f-{self.name}"

    @property
    def told(self) -> SafeString:
        """The attributes that join a field with its fault and hint."""
        beside = [f"{self.id}-{word}" for word, text in (("fault", self.fault), ("hint", self.hint)) if text]
        named = format_html(' aria-describedby="{}"', " ".join(beside)) if beside else SafeString("")
        return SafeString(' aria-invalid="true"') + named if self.fault else named


def faults_by_pointer(refused: Refused) -> dict[str, str]:
    """Texts of a refusal by JSON pointer; several at one place in one line."""
    found: dict[str, str] = {}
    for fault in refused.faults:
        found[fault.pointer] = f"{found[fault.pointer]} {fault.text}" if fault.pointer in found else fault.text
    return found


def unplaced(faults: Mapping[str, str], boxes: Iterable[Box]) -> list[str]:
    """Faults that no box shows."""
    shown = {box.fault for box in boxes}
    return [text for text in faults.values() if text not in shown]


_NUMBER = re.compile(r"(-?\d*)[.,]?(\d*)\Z")


def typed_number(text: str) -> str:
    """A number as typed, with a comma read as the point it stands for; anything else as it was typed.

    >>> typed_number(" 12,50 "), typed_number("1 200"), typed_number("1.5"), typed_number("a lot")
    ('12.50', '1200', '1.5', 'a lot')
    """
    tight = text.replace(" ", "").replace("\N{NO-BREAK SPACE}", "")
    return tight.replace(",", ".") if _NUMBER.match(tight) else text.strip()
