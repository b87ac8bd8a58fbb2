"""Boxes to type into: one field of a page's form with its label, what was typed and what is wrong with it."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal

from django.utils.html import format_html
from django.utils.safestring import SafeString

from fencing.model.faults import InvalidDocument
from shared.common.figures import localize


@dataclass(frozen=True, slots=True)
class FormField:
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


def faults_by_pointer(refused: InvalidDocument) -> dict[str, str]:
    """Texts of a refusal by JSON pointer, in a page's words; several at one place in one line."""
    found: dict[str, str] = {}
    for fault in refused.faults:
        text = _A_NUMBER.format(localize("1200.50")) if fault.code == "decimal" else fault.text
        found[fault.pointer] = f"{found[fault.pointer]} {text}" if fault.pointer in found else text
    return found


_A_NUMBER = "Write a number such as {}, with no sign between the thousands."


def unplaced(faults: Mapping[str, str], boxes: Iterable[FormField]) -> list[str]:
    """Faults that no box shows."""
    shown = {box.fault for box in boxes}
    return [text for text in faults.values() if text not in shown]


_NUMBER = re.compile(r"(-?\d*)[.,]?(\d*)\Z")
_THOUSANDS = re.compile(r"-?[1-9]\d{0,2}([.,])\d{3}\Z")


def typed_number(text: str) -> str:
    """A number as typed, with a comma read as the point it stands for; anything else as it was typed.

    Three digits behind the sign the business does not write its decimals with may be thousands: 1,200 is no number where
    decimals have a point, nor 1.200 where they have a comma, because 1.2 and 1200 are far apart. Nothing reads what comes back.

    >>> typed_number(" 12,50 "), typed_number("1 200"), typed_number("1.5"), typed_number("a lot")
    ('12.50', '1200', '1.5', 'a lot')
    >>> typed_number("1,200"), typed_number("1.200"), typed_number("0,372")
    ('1,200', '1.200', '0.372')
    """
    tight = text.replace(" ", "").replace("\N{NO-BREAK SPACE}", "").replace("\N{NARROW NO-BREAK SPACE}", "")
    thousands = _THOUSANDS.match(tight)
    if thousands and thousands[1] != localize("."):
        return tight.replace(".", "'")
    return tight.replace(",", ".") if _NUMBER.match(tight) else text.strip()


def as_shown(value: object) -> str:
    """A number as it was typed, with the page's decimal sign; anything else as it stands.

    >>> as_shown("64.00"), as_shown("1/2"), as_shown(3)
    ('64.00', '1/2', '3')
    """
    text = str(value)
    return localize(text) if _NUMBER.match(text) else text


def shown_number(value: object, least: int = 0) -> str:
    """A stored number as it is typed: without noughts that say nothing beyond ``least`` decimals, with the page's decimal sign.

    >>> shown_number("10.000"), shown_number("1.7800", 2), shown_number("150.0000", 2), shown_number(None)
    ('10', '1.78', '150.00', '')
    """
    if value is None:
        return ""
    exact = Decimal(str(value)).normalize()
    exponent = exact.as_tuple().exponent
    places = max(least, -exponent if isinstance(exponent, int) else 0)
    return localize(f"{exact:.{places}f}")
