"""Lengths, numbers, percentages and shares in form fields: reading and formatting."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from fractions import Fraction
from typing import Any

from fencing.model.rounding import round_half_up
from shared.common.figures import localize
from shared.common.typed_numbers import typed_number

_DECIMAL = re.compile(r"-?\d+\.\d+\Z", re.ASCII)
_METRIC = re.compile(r"([+-]?)(\d*(?:[.,]\d*)?)(mm|cm|m)?\Z", re.ASCII)
_SIZES = {"mm": 1, "cm": 10, "m": 1000}
_SPACES = re.compile(r"[\s\u202f\u00a0]+")
_PART = r"(\d{1,5}(?:[.,]\d{1,4})?)?(?:(?:(?<=\d)\s+)?(\d{1,2}/\d{1,2}))?"
_FOOT = r"(?:'|ft\.?|feet|foot)"
_INCH = r"(?:\"|in\.?|inch(?:es)?)"
_FEET = re.compile(rf"([+-]?)\s*{_PART}\s*{_FOOT}\s*(?:{_PART}\s*{_INCH}?)?\Z", re.ASCII)
_INCHES = re.compile(rf"([+-]?)\s*{_PART}\s*{_INCH}\Z", re.ASCII)
_SIGNS = str.maketrans("\u2019\u2018\u2032`\u00b4\u201d\u201c\u2033\u2212", "'" * 5 + '"' * 3 + "-")
"""Quotation marks, primes and accents as foot and inch marks; the minus sign as a hyphen."""
_INCH_MM = Fraction(254, 10)

TAPE = 100
"""A whole number below this is in metres if it comes from a tape measure: a run of 18 mm does not exist."""
HEIGHT = 10
"""A whole number below this is in metres if it is a height or an opening."""
LEVEL = 0
"""A whole number is always in mm if it is a level, or the field is in mm."""
MAX_TYPED = 24


@dataclass(frozen=True, slots=True)
class _Length:
    """Number with its unit, or "" if there is no unit. ``whole``: entered without a decimal sign."""

    number: Fraction
    unit: str
    whole: bool


def read_length(text: str, metres_below: int = TAPE) -> int | str:
    """Return a length in whole mm, or the unchanged text if it is not a length.

    Rule: a number with a unit is in that unit. Without a unit, a number with a decimal sign is in metres, and a whole number is
    in mm, unless it is below ``metres_below``. Feet and inches are read exactly and rounded once, to the nearest mm.

    >>> [read_length(text) for text in ("18.24", "18,24 m", "18240", "18240 mm", "18", "1 824 cm", "0")]
    [18240, 18240, 18240, 18240, 18000, 18240, 0]
    >>> read_length("-0.54", LEVEL), read_length("-540", LEVEL), read_length("1.8", HEIGHT), read_length("1800", HEIGHT)
    (-540, -540, 1800, 1800)
    >>> [read_length(text) for text in ("60'", "12'6", "12ft 6in", "6' 3 1/2\\"", "30\\"")]
    [18288, 3810, 3810, 1918, 762]
    >>> read_length("eighteen"), read_length("18.24.1"), read_length("0.0005"), read_length("18'240")
    ('eighteen', '18.24.1', '0.0005', "18'240")
    """

    def unit_of_bare(length: _Length) -> str:
        return "mm" if length.whole and abs(length.number) >= metres_below else "m"

    size = _millimetres(text, unit_of_bare)
    return int(size) if size is not None and size.denominator == 1 else text


def read_millimetres(text: str) -> int | Decimal | str:
    """Return a length in mm, or the unchanged text if it is not a length. A number without a unit is in mm.

    >>> [read_millimetres(text) for text in ("1 590", "0,7 m", "70 cm", "0.7", "6'", "wide")]
    [1590, 700, 700, Decimal('0.7'), 1829, 'wide']
    """
    size = _millimetres(text, lambda _: "mm")
    if size is None:
        return text
    return int(size) if size.denominator == 1 else Decimal(size.numerator) / Decimal(size.denominator)


def _millimetres(text: str, unit_of_bare: Callable[[_Length], str]) -> Fraction | None:
    """Return the exact mm of a metric length, or the whole mm of feet and inches; None if the text is not a length."""
    if len(text) > MAX_TYPED:
        return None
    tidy = _normalize(text)
    if (imperial := _feet_and_inches(tidy)) is not None:
        return imperial
    length = _metric(tidy)
    return length.number * _SIZES[length.unit or unit_of_bare(length)] if length else None


def _normalize(text: str) -> str:
    """Return the text in lower case, with one sign for feet, one for inches, and fractions such as 1/2."""
    signs = text.strip().lower().translate(_SIGNS).replace("''", '"')
    return "".join(_spell_fraction(sign) for sign in signs)


def _spell_fraction(sign: str) -> str:
    if (
        unicodedata.category(sign) == "No"
        and (parts := unicodedata.normalize("NFKC", sign)).count("\N{FRACTION SLASH}") == 1
    ):
        return " " + parts.replace("\N{FRACTION SLASH}", "/")
    return sign


def _metric(tidy: str) -> _Length | None:
    found = _METRIC.match(_SPACES.sub("", tidy))
    number = _number(found.group(1) + found.group(2)) if found else None
    if found is None or number is None:
        return None
    return _Length(Fraction(number), found.group(3) or "", not re.search(r"[.,]", found.group(2)))


def _feet_and_inches(tidy: str) -> Fraction | None:
    """Return the nearest whole mm of feet, inches or both. Return None for another text, or for 12 inches or more after feet."""
    if found := _FEET.match(tidy):
        sign, *parts = found.groups()
        feet, inches = _mixed(*parts[:2]), _mixed(*parts[2:])
        if feet is None or (inches is None and any(parts[2:])):
            return None
        if inches is not None and (inches >= 12 or feet.denominator != 1):
            return None
        total = feet * 12 + (inches or 0)
    elif found := _INCHES.match(tidy):
        sign, *parts = found.groups()
        inches = _mixed(*parts)
        if inches is None:
            return None
        total = inches
    else:
        return None
    size = total * _INCH_MM * (-1 if sign == "-" else 1)
    return Fraction(round_half_up(size.numerator, size.denominator))


def _mixed(whole: str | None, fraction: str | None) -> Fraction | None:
    """Return a number with a fraction, such as 3 1/2; None if both are missing or the fraction is not valid."""
    if not whole and not fraction:
        return None
    above, _, below = (fraction or "0/1").partition("/")
    if int(below) == 0 or int(above) >= int(below) or (fraction and whole and not whole.isdigit()):
        return None
    return Fraction((whole or "0").replace(",", ".")) + Fraction(int(above), int(below))


def read_number(text: str) -> int | Decimal | str:
    """Return a number with a decimal point or comma, or the unchanged text if it is not a number.

    >>> read_number("90"), read_number("-12,5"), read_number("1.452"), read_number("left")
    (90, Decimal('-12.5'), Decimal('1.452'), 'left')
    """
    number = _number(_SPACES.sub("", text).replace("\N{MINUS SIGN}", "-"))
    if number is None:
        return text
    return int(number) if number == number.to_integral_value() and "." not in text and "," not in text else number


def _number(text: str) -> Decimal | None:
    try:
        number = Decimal(text.replace(",", "."))
    except InvalidOperation:
        return None
    return number if number.is_finite() and len(text) < MAX_TYPED else None


def metres(millimetres: int) -> str:
    """Return metres with three decimals for a field, with the decimal sign of the page. ``read_length`` reads both signs.

    >>> metres(18240), metres(-60), metres(0)
    ('18.240', '-0.060', '0.000')
    """
    whole, rest = divmod(abs(millimetres), 1000)
    return localize(f"{'-' if millimetres < 0 else ''}{whole}.{rest:03d}")


def number_text(value: Any) -> str:
    """Return a number as text for a field, with the decimal sign of the page. ``read_number`` reads both signs.

    >>> number_text(Decimal("12.5")), number_text("0.30"), number_text("clay"), number_text(None)
    ('12.5', '0.30', 'clay', '')
    """
    text = "" if value is None else str(value)
    return localize(text) if _DECIMAL.match(text) else text


_PERCENT = re.compile(r"(.*?)\s*(?:%|percent|per cent|pct)\.?\Z", re.IGNORECASE)
_PLAIN = re.compile(r"\d{1,9}(?:\.\d{1,9})?\Z", re.ASCII)
_RATIO = re.compile(r"(\d{1,6})\s*/\s*(\d{1,6})\Z", re.ASCII)
_WORDS = {"whole": "1", "all": "1", "half": "1/2", "third": "1/3", "quarter": "1/4", "fifth": "1/5"}
_PARTS = re.compile(r"[;\n]|,(?!\d)")
_PARTY_SHARE = (re.compile(r"(.+?)[\s:=]+(\S+\s+\S+)\Z"), re.compile(r"(.+?)[\s:=]+(\S+)\Z"))
_EACH = re.compile(r"(?:an?\s+)?(.+?)\s+each\Z", re.IGNORECASE)


def read_percent(text: str) -> str:
    """Return a percentage as a number, or the unchanged text if it is not a percentage.

    >>> read_percent("5%"), read_percent("12,5 %"), read_percent("30"), read_percent("5 per cent"), read_percent("much")
    ('5', '12.5', '30', '5', 'much')
    """
    found = _PERCENT.match(text.strip())
    number = typed_number(found[1]) if found else typed_number(text)
    return number if _PLAIN.match(number) or not found else text.strip()


def read_share(text: str) -> str | None:
    """Return a share in the form of documents: a fraction, a percentage or a decimal. Return None for another text.

    >>> [read_share(text) for text in ("1/2", "60%", "12,5 %", "0,4", "half", "a third", "two thirds")]
    ['1/2', '60%', '12.5%', '0.4', '1/2', '1/3', None]
    """
    tidy = re.sub(r"^(?:an?|one)\s+", "", text.strip().lower())
    if tidy in _WORDS:
        return _WORDS[tidy]
    if ratio := _RATIO.match(tidy):
        return f"{ratio[1]}/{ratio[2]}" if int(ratio[2]) else None
    percent = read_percent(tidy)
    if _PERCENT.match(tidy):
        return f"{percent}%" if _PLAIN.match(percent) else None
    number = typed_number(tidy)
    return number if _PLAIN.match(number) else None


def read_split(text: str, parties: Sequence[str]) -> dict[str, str] | None:
    """Return the shares of ``parties``, in their order, from a text without names; None if the text is not a split.

    Rule: every party has a share, and the shares add up to 1. Whole numbers that add up to 100 are percentages.

    >>> read_split("60/40", ("owner", "neighbour")), read_split("60%/40%", ("us", "them"))
    ({'owner': '60%', 'neighbour': '40%'}, {'us': '60%', 'them': '40%'})
    >>> read_split("half each", ("owner", "neighbour")), read_split("1/3 each", ("owner", "neighbour"))
    ({'owner': '1/2', 'neighbour': '1/2'}, None)
    """
    shares = _split(text.strip(), len(parties))
    if shares is None or len(shares) != len(parties) or sum(map(_exact, shares)) != 1:
        return None
    return dict(zip(parties, shares, strict=True))


def _split(text: str, count: int) -> list[str] | None:
    if each := _EACH.match(text):
        share = read_share(each[1])
        return None if share is None else [share] * count
    if "%" not in text and re.fullmatch(r"\d{1,3}(?:\s*[/:]\s*\d{1,3})+", text, re.ASCII):
        numbers = re.findall(r"\d+", text)
        return [f"{number}%" for number in numbers] if sum(map(int, numbers)) == 100 else None
    parts = text.split("/") if "%" in text and "/" in text else re.split(rf"{_PARTS.pattern}|\band\b|&", text)
    shares = [read_share(part) for part in parts]
    known = [share for share in shares if share is not None]
    return known if len(known) == len(shares) else None


def _exact(share: str) -> Fraction:
    return Fraction(share[:-1]) / 100 if share.endswith("%") else Fraction(share)


def read_shares(text: str, parties: Sequence[str]) -> Mapping[str, str] | str:
    """Return shares by party: ``owner 60%; neighbour 40%``, or a split between ``parties``; or the unchanged text.

    >>> read_shares("owner 1/2; neighbour 1/2", ()), read_shares("60/40", ("owner", "neighbour"))
    ({'owner': '1/2', 'neighbour': '1/2'}, {'owner': '60%', 'neighbour': '40%'})
    >>> read_shares("as agreed", ("owner", "neighbour"))
    'as agreed'
    """
    if (split := read_split(text, parties)) is not None:
        return split
    shares: dict[str, str] = {}
    for part in filter(None, (part.strip() for part in _PARTS.split(text))):
        party_share = _party_share(part)
        if party_share is None or party_share[0] in shares:
            return text
        shares[party_share[0]] = party_share[1]
    return shares


def _party_share(part: str) -> tuple[str, str] | None:
    """Return a party and its share; None if the text does not end in a share."""
    for pattern in _PARTY_SHARE:
        found = pattern.match(part)
        if found and (share := read_share(found[2])) is not None:
            return found[1], share
    return None
