"""Template filters for figures: money and dates by the business's locale, lengths in metres, price calculations."""

from __future__ import annotations

import re
from datetime import date
from decimal import Decimal
from typing import Any

from django import template
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from catalogue.rules.codes import SALE_UNITS
from quotes.documents import number_format
from quotes.documents.kinds import KINDS
from quotes.documents.models import Document
from quotes.quoting.models import Revision
from shared.common.figures import localize
from shared.common.typed_numbers import shown_number

register = template.Library()
_FIGURE = re.compile(r"(?<![\w.])(\d+(?:\.\d+)?)(?: ([A-Z][A-Z0-9]{1,2})\b)?(?![\w.]*\w)")
_EACH = re.compile(r"(?<= at )\d+(?:\.\d)?(?= =)")
"""Write a unit price with at least two decimals."""
_MANY = {"box": "boxes", "number of packs": "packs"}


@register.filter
def amount(value: Decimal | str | None, locale: str) -> str:
    """Return an amount without its currency, which is in the column head, and without spare zeros."""
    if value in (None, ""):
        return ""
    exact, cents = Decimal(str(value)), Decimal("0.01")
    exponent = exact.as_tuple().exponent
    spare = isinstance(exponent, int) and exponent < -2 and exact == exact.quantize(cents)
    return number_format.number(exact.quantize(cents) if spare else exact, locale)


@register.filter
def signed(value: Decimal | str, locale: str) -> str:
    """Return a price change, always with its sign."""
    return number_format.signed(Decimal(str(value)), locale)


@register.filter
def figure(value: Any) -> str:
    """Return a plain figure such as a margin, with the decimal sign of the page."""
    return "" if value is None else localize(str(value))


@register.filter
def beside(finish: str, name: str) -> str:
    """Return a finish to write beside the name of an article: nothing if the name ends with it."""
    return "" if name.endswith(f" {finish}") else finish


@register.filter
def in_words(value: date | str | None, locale: str) -> str:
    """Return a date with the name of the month."""
    return number_format.day(value, locale) if value else ""


SHORT = 16
"""Maximum length of an id that is not broken across lines."""


@register.filter
def ids(words: str) -> SafeString:
    """Return ids that do not break at their hyphens, unless they are too long for a column.

    >>> ids("A-1, A-2"), ids("Rear-boundary-of-the-meadow-1")
    ('<span class="id">A-1,</span> <span class="id">A-2</span>', 'Rear-boundary-of-the-meadow-1')
    """
    marked = (
        format_html('<span class="id">{}</span>', word) if "-" in word and len(word) <= SHORT else word
        for word in words.split(" ")
    )
    return format_html_join(" ", "{}", ((item,) for item in marked))


@register.filter
def metres(value: Any) -> str:
    """Return millimetres as metres with three decimals."""
    return number_format.metres(int(value))


@register.simple_tag
def money(value: Decimal | str, currency: str, locale: str) -> str:
    """Return an amount with its currency."""
    return number_format.money(str(value), currency, locale)


@register.simple_tag
def cash(value: Decimal | str | None, currency: str, locale: str) -> str:
    """Return a stored amount without its currency: with the currency's decimals, and more only if it has them."""
    if value in (None, ""):
        return ""
    return number_format.cash(str(value), currency, locale)


@register.inclusion_tag("documents/kept.html")
def kept_documents(revision: Revision) -> dict[str, Any]:
    """Return the documents of a revision with their status and PDFs."""
    rows, order = Document.objects.of(revision.business).filter(revision=revision).defer("pdf"), list(KINDS)
    return {"documents": sorted(rows, key=lambda row: (order.index(row.kind), row.party))}


@register.filter
def working(text: str) -> str:
    """Write a price calculation with the units and the decimal sign of the reader.

    >>> working("36.000 XBG as ordered = 268.20; 22 % markup = 327.20")
    '36 bags as ordered = 268.20; 22 % markup = 327.20'
    >>> working("14.877 MTR x 24.000000 = 357.05"), working("10 C62 x 6.500000 = 65.00"), working("1 XBG x 7.45 = 7.45")
    ('14.877 m × 24.00 = 357.05', '10 × 6.50 = 65.00', '1 bag × 7.45 = 7.45')
    >>> working("13 at 22.9 = 297.70; 22 % markup = 363.19"), working("500 at 0.0858 = 42.90")
    ('13 at 22.90 = 297.70; 22 % markup = 363.19', '500 at 0.0858 = 42.90')
    """
    priced = _EACH.sub(lambda found: f"{Decimal(found[0]):.2f}", text)
    return _FIGURE.sub(_amount_text, priced).replace(" x ", " × ")


def _amount_text(found: re.Match[str]) -> str:
    number, code = found[1], found[2]
    if code not in SALE_UNITS:
        written = shown_number(number, min(2, len(number.partition(".")[2])))
        return f"{written} {code}" if code else written
    return shown_number(number) + (
        number_format.UNITS[code] if code in number_format.UNITS else f" {_word(code, number)}"
    )


def _word(code: str, number: str) -> str:
    word = SALE_UNITS[code]
    return word if float(number) == 1 else _MANY.get(word, f"{word}s")
