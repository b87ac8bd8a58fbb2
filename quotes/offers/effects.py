"""What a change of prices means for open quotes: a draft is priced anew, a sent one keeps its price and changes margin."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from decimal import Decimal
from typing import Any

from django.utils import timezone

from catalogue.codes import ImportKind
from catalogue.effects import Touched, tells_effect
from fencing.faults import Refused
from quotes.jobs.canonical import parsed
from quotes.offers.content import assemble
from quotes.offers.difference import standing_build
from quotes.offers.models import Revision, State
from shared.models import Business
from shared.money import minor_digits, rounded

MOST = 25
"""Quotes that are looked at, the newest first: a draft has to be priced to see what it buys."""


@tells_effect
def open_quotes_touched(business: Business, kind: ImportKind, touched: Touched) -> list[dict[str, Any]]:
    """Open quotes that buy what changes, each with what its cost changes by where new prices are named.

    Price rules name no sku: they touch every draft and no sent quote.
    """
    rows = Revision.objects.of(business).filter(state__in=(State.DRAFT, State.SENT)).order_by("-id")
    open_ones = rows.select_related(
        "quote__job__customer", "quote__job__site", "measure_version__measure", "changes", "business"
    )
    return [told for row in open_ones[:MOST] if (told := _told(row, kind, touched, minor_digits(business.currency)))]


def _told(row: Revision, kind: ImportKind, touched: Touched, digits: int) -> dict[str, Any] | None:
    named = {"quote": row.quote.number, "revision": row.number, "ref": row.ref, "state": str(row.state)}
    if kind is ImportKind.PRICE_RULES:
        return {**named, "cost_change": None} if row.state == State.DRAFT else None
    bought = [line for line in _bought(row) if _sku(line) in touched]
    if not bought:
        return None
    changes = [_change(line, touched[_sku(line)]) for line in bought]
    known = [change for change in changes if change is not None]
    return {**named, "cost_change": format(rounded(sum(known, Decimal(0)), digits), "f") if known else None}


def _bought(row: Revision) -> Iterator[Mapping[str, Any]]:
    """Material lines of what is offered; nothing where a draft can't be priced."""
    try:
        content = parsed(row.content) if row.content else assemble(row, now=timezone.now())
    except Refused:
        return
    for line in standing_build(content, row.choices)["costing"]:
        if line["key"].startswith("material."):
            yield line


def _sku(line: Mapping[str, Any]) -> str:
    return str(line["key"]).removeprefix("material.")


def _change(line: Mapping[str, Any], price: Decimal | None) -> Decimal | None:
    return None if price is None else Decimal(line["quantity"]) * price - Decimal(line["cost"])
