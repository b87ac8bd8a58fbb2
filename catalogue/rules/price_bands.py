"""Bands: a list of [from, amount] pairs of decimal strings, such as price breaks by quantity or delivery fees by order value."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal, InvalidOperation
from typing import Any

from fencing.buying.suppliers import Bands

MAX_BANDS = 20
PLACES = 4
_NO_DIGITS = frozenset("eE_")


def plain_decimal(text: object, *, places: int = PLACES, most: Decimal = Decimal(10) ** 10) -> Decimal | None:
    """Return a decimal from 0 to ``most`` with at most ``places`` places; otherwise None."""
    number = _in_digits(text) if isinstance(text, str) else None
    if number is None or not 0 <= number <= most:
        return None
    exponent = number.as_tuple().exponent
    return number if isinstance(exponent, int) and -exponent <= places else None


def _in_digits(text: str) -> Decimal | None:
    """Return a number in ASCII digits, without exponent, underscores or infinity; otherwise None."""
    if not text.isascii() or len(text) > 24 or not _NO_DIGITS.isdisjoint(text):
        return None
    try:
        number = Decimal(text)
    except InvalidOperation:
        return None
    return number if number.is_finite() else None


def bands_fault(value: Any, *, from_zero: bool) -> str | None:
    """Return the error of a stored list of bands as a sentence, or None. ``from_zero``: the first band begins at 0."""
    if not isinstance(value, list) or len(value) > MAX_BANDS:
        return f"Enter a list of at most {MAX_BANDS} pairs [from, amount]."
    last: Decimal | None = None
    for pair in value:
        start = _start_of(pair)
        if start is None:
            return f"Each pair is [from, amount] as decimal strings, not negative, with at most {PLACES} places."
        if last is not None and start <= last:
            return "The pairs are in order, each beginning above the one before it."
        last = start
    if value and from_zero and Decimal(value[0][0]) != 0:
        return "The first pair begins at 0."
    return None


def _start_of(pair: Any) -> Decimal | None:
    """Return where a pair begins; None if it is not a pair of decimal strings."""
    if not isinstance(pair, list) or len(pair) != 2:
        return None
    start, amount = map(plain_decimal, pair)
    return None if amount is None else start


def read_bands(value: Sequence[Sequence[str]]) -> Bands:
    """Return stored bands as numbers, ascending."""
    return tuple((Decimal(start), Decimal(amount)) for start, amount in value)


def format_bands(value: Sequence[Sequence[str]]) -> str:
    """Return bands as one line of a spreadsheet: ``10:4.50 50:4.10``."""
    return " ".join(f"{start}:{amount}" for start, amount in value)


def parsed(text: str) -> list[list[str]] | None:
    """Return the stored form of a text that ``format_bands`` wrote; None if it cannot be read.

    >>> parsed("10:4.50 50:4.10"), parsed("10=4"), parsed("")
    ([['10', '4.50'], ['50', '4.10']], None, [])
    """
    pairs = [part.split(":") for part in text.split()]
    return pairs if all(len(pair) == 2 for pair in pairs) else None
