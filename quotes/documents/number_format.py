"""Number formats of documents: metres with three decimals, millimetres with none, by the business's locale."""

from __future__ import annotations

import re
from collections.abc import Iterable
from contextlib import AbstractContextManager
from datetime import date
from decimal import Decimal
from itertools import groupby

from babel import Locale
from babel.numbers import format_currency, format_decimal

from shared.common.dates import write_day
from shared.common.figures import localize, use_decimal_sign
from shared.common.money import decimal_sign, minor_digits, rounded

MINUS = "\N{MINUS SIGN}"
_MEASURED = re.compile(r"(?<![\d.])(\d+\.\d+)(?=°| (?:times|%|kPa|kN|kNm|kN\.m|m|mm|m/s|m³|kg)(?![\w]))")


def by_locale(locale: str) -> AbstractContextManager[None]:
    """Return a context in which metres and levels are written by this locale, as on the drawings.

    >>> with by_locale("de-DE"):
    ...     metres(18240), level(1860)
    ('18,240', '+1,860')
    """
    return use_decimal_sign(decimal_sign(locale))


def metres(millimetres: int) -> str:
    """Return millimetres as metres with three decimals.

    >>> metres(18240), metres(-60)
    ('18.240', '−0.060')
    """
    whole, rest = divmod(abs(millimetres), 1000)
    return localize(f"{MINUS if millimetres < 0 else ''}{whole}.{rest:03d}")


def level(millimetres: int) -> str:
    """Return a reduced level in metres, always with a sign.

    >>> level(1860), level(-540), level(0)
    ('+1.860', '−0.540', '±0.000')
    """
    sign = "+" if millimetres > 0 else "±" if not millimetres else ""
    return sign + metres(millimetres)


def worded(text: str) -> str:
    """Return a sentence with its measured figures written by the locale; the numbers of codes and tables stay.

    >>> with by_locale("de-DE"):
    ...     worded("0.30 kPa, 1.35 times as much (Table 1806.2 of 1.2)")
    '0,30 kPa, 1,35 times as much (Table 1806.2 of 1.2)'
    """
    return _MEASURED.sub(lambda found: localize(found[1]), text)


LONGEST = 48


def strip(*parts: str) -> str:
    """Return the footer of every page. Long names are cut, so that it takes at most two lines.

    >>> strip("Quote Q1", "J1 " + "x" * 60, "")
    'Quote Q1 · J1 xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx…'
    """
    return " · ".join(part if len(part) <= LONGEST else f"{part[: LONGEST - 1]}…" for part in parts if part)


def quantity(text: Decimal | str, unit: str, locale: str) -> str:
    """Return a quantity with its unit (UN/ECE Recommendation 20); metres have three decimals.

    >>> quantity("9", "MTR", "en"), quantity("0.482", "MTQ", "de_DE"), quantity("3.00", "C62", "en")
    ('9.000 m', '0,482 m³', '3')
    """
    exact = Decimal(text)
    if unit == "MTR" and exact == exact.quantize(Decimal("0.001")):
        exact = exact.quantize(Decimal("0.001"))
    elif exact == exact.to_integral_value():
        exact = exact.quantize(Decimal(1))
    return number(exact, locale) + UNITS.get(unit, "")


def money(amount: Decimal | str, currency: str, locale: str) -> str:
    """Return an amount with its currency, by locale.

    >>> money("1234.5", "EUR", "en")
    '€1,234.50'
    """
    return format_currency(Decimal(amount), currency, locale=locale.replace("-", "_"))


def number(value: Decimal | str | int, locale: str) -> str:
    """Return a number by locale with the decimals it has; a negative number gets a true minus sign.

    >>> number("1234.50", "en"), number("123456.50", "en_IN"), number("-0.30", "de_DE")
    ('1,234.50', '1,23,456.50', '−0,30')
    """
    decimal = Decimal(value)
    exponent = decimal.as_tuple().exponent
    places = max(0, -exponent) if isinstance(exponent, int) else 0
    read = Locale.parse(locale.replace("-", "_"))
    # the locale's own groups, with the decimals the number has
    groups = read.decimal_formats[None].pattern.split(";")[0].split(".")[0]
    pattern = f"{groups}.{'0' * places}" if places else groups
    return format_decimal(decimal, pattern, locale=read, decimal_quantization=False).replace("-", MINUS)


def signed(value: Decimal, locale: str) -> str:
    """Return a change, always with its sign.

    >>> signed(Decimal("12.50"), "en"), signed(Decimal("-0.30"), "de_DE"), signed(Decimal(0), "en")
    ('+12.50', '−0,30', '0')
    """
    return f"{'+' if value > 0 else ''}{number(value, locale)}"


def plain(value: Decimal, locale: str) -> str:
    """Return a number without trailing zeros.

    >>> plain(Decimal("792.354"), "de_DE"), plain(Decimal("400.000"), "en")
    ('792,354', '400')
    """
    return number(format(value.normalize(), "f"), locale)


def cash(value: Decimal | str, currency: str, locale: str) -> str:
    """Return an amount without its currency: with the currency's decimals, and more only if it has them.

    >>> cash("22.9", "EUR", "en"), cash("0.08580", "EUR", "de_DE"), cash("1200", "JPY", "en")
    ('22.90', '0,0858', '1,200')
    """
    exact, digits = Decimal(value).normalize(), minor_digits(currency)
    places = exact.as_tuple().exponent
    return number(exact if isinstance(places, int) and -places > digits else rounded(exact, digits), locale)


def day(value: date | str, locale: str) -> str:
    """Return a date by locale, with the name of the month.

    >>> day("2026-03-09", "en")
    'March 9, 2026'
    """
    return write_day(value if isinstance(value, date) else date.fromisoformat(value[:10]), locale)


UNITS = {"C62": "", "MTR": " m", "MTQ": " m³", "KGM": " kg", "HUR": " h", "DAY": " days", "TNE": " t"}
_NUMBERED = re.compile(r"^(.*?)(\d+)$")


_SHORT = 7  # letters of a name that its column holds


def called(run: str, name: str) -> str:
    """Return an element's name for its run's table: a short name whole, a long name without the run; a corner post keeps its end.

    >>> called("A", "A-P12"), called("Rear-boundary", "Rear-boundary-P3"), called("Rear-boundary", "Side-boundary-P7")
    ('A-P12', 'P3', '…P7')
    """
    if len(name) <= _SHORT:
        return name
    own = name.removeprefix(f"{run}-")
    return own if own != name else f"…{name.rpartition('-')[2]}"


def ranges(ids: Iterable[str]) -> str:
    """Return ids in one line; consecutive ids become a range.

    >>> ranges(["A-1", "A-2", "A-3", "A-5", "A-G1", "A-1"])
    'A-1 to A-3, A-5, A-G1'
    """
    split = [(_NUMBERED.match(name), name) for name in dict.fromkeys(ids)]
    numbered = [(found[1], int(found[2]), name) if found else (name, 0, name) for found, name in split]
    parts = list[str]()
    for _, group in groupby(enumerate(numbered), key=lambda item: (item[1][0], item[1][1] - item[0])):
        names = [name for _, (_, _, name) in group]
        parts.append(
            names[0] if len(names) == 1 else f"{names[0]} to {names[-1]}" if len(names) > 2 else ", ".join(names)
        )
    return ", ".join(parts)
