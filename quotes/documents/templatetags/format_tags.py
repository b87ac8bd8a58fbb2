"""Template filters for numbers: money and dates by the business's locale, lengths in metres."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Any

from django import template
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from quotes.documents import number_format
from quotes.documents.models import Document
from quotes.quoting.models import Revision
from shared.common.figures import localize

register = template.Library()


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
    exact = Decimal(str(value))
    shown = number_format.number(abs(exact), locale)
    return f"+{shown}" if exact > 0 else f"{number_format.MINUS}{shown}" if exact < 0 else shown


@register.filter
def figure(value: Any) -> str:
    """Return a plain figure such as a margin, with the decimal sign of the page."""
    return "" if value is None else localize(str(value))


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
    rows = Document.objects.of(revision.business).filter(revision=revision).defer("pdf").order_by("kind", "party")
    return {"documents": list(rows)}
