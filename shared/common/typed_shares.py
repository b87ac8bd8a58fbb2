"""Percentages and shares in form fields."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from fractions import Fraction

from shared.common.typed_numbers import typed_number

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
