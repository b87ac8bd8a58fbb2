"""Effect of new prices on open quotes: the customer's price stays, the business's cost changes."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from catalogue.rules.codes import ImportKind
from catalogue.rules.hooks import Touched
from quotes.quoting.content import read_content
from quotes.quoting.content_costs import Costing
from quotes.quoting.models import Revision, RevisionState
from shared.common.money import minor_digits, rounded
from shared.models import Business

MAX = 200
_MATERIAL = "material."


def open_quotes(business: Business, kind: ImportKind, touched: Touched) -> list[dict[str, Any]]:
    """Return the affected open quotes with the quoted cost of their materials and the cost at the new prices.

    A file of price rules affects all of them. For a draft only the number is returned: it is priced again when it is sent.
    """
    rows = (
        Revision.objects.of(business)
        .filter(state__in=[RevisionState.DRAFT, RevisionState.SENT])
        .select_related("quote", "business")
    )
    data = [_quote_impact(row, kind, touched) for row in rows.order_by("-id")[:MAX]]
    return [item for item in data if item is not None]


def _quote_impact(revision: Revision, kind: ImportKind, touched: Touched) -> dict[str, Any] | None:
    named = {"quote": revision.quote.number, "revision": revision.number, "status": revision.state}
    if revision.state == RevisionState.DRAFT:
        return {**named, "text": "priced again when it is sent"}
    if kind is ImportKind.PRICE_RULES:
        return {**named, "text": "keeps its sent price"}
    lines = [line for line in _materials(revision) if line.key.removeprefix(_MATERIAL) in touched]
    if not lines:
        return None
    before = sum((line.cost for line in lines), Decimal(0))
    digits = minor_digits(revision.business.currency)
    after = sum((rounded(_cost(line, touched), digits) for line in lines), Decimal(0))
    skus = sorted(line.key.removeprefix(_MATERIAL) for line in lines)
    return {
        **named,
        "text": "keeps its sent price",
        "components": skus,
        "cost_quoted": format(before, "f"),
        "cost_then": format(after, "f"),
        "difference": format(after - before, "f"),
    }


def _materials(revision: Revision) -> list[Costing]:
    return [line for line in read_content(revision.content).builds[0].costing if line.key.startswith(_MATERIAL)]


def _cost(line: Costing, touched: Touched) -> Decimal:
    price = touched[line.key.removeprefix(_MATERIAL)]
    return line.cost if price is None else line.quantity * price
