"""Price summary of a revision for the estimator: cost, margin and price of each line, and each party's amounts."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from quotes.pricing.price_lines import UNITS
from quotes.quoting.totals import BASE, Choices, Content, read_choices, sums

ZERO = Decimal(0)
KINDS = {"material": "Materials", "labour": "Labour", "disposal": "Disposal", "hire": "Hire"}


@dataclass(frozen=True, slots=True)
class PriceSummaryLine:
    text: str
    detail: str
    quantity: str
    unit: str
    cost: Decimal
    net: Decimal
    made_of: tuple[tuple[str, Decimal], ...] = ()
    """The costs of a line that combines several, each with its amount."""

    @property
    def margin(self) -> str:
        """Return the margin in percent of the price; empty if cost or price is missing."""
        return f"{(self.net - self.cost) / self.net * 100:.1f}" if self.net and self.cost else ""


@dataclass(frozen=True, slots=True)
class RevisionPrices:
    """Amounts of a revision."""

    lines: tuple[PriceSummaryLine, ...]
    costing: tuple[PriceSummaryLine, ...]
    cost: Decimal
    net: Decimal
    tax: Decimal
    total: Decimal
    parties: tuple[Mapping[str, Any], ...]
    others: tuple[Mapping[str, Any], ...]
    options: tuple[Mapping[str, Any], ...]
    payments: tuple[Mapping[str, Any], ...]
    stops: tuple[str, ...]
    buying: Mapping[str, Any] | None = None
    """Suppliers that the materials are priced from; None for older content."""

    @property
    def whole(self) -> PriceSummaryLine:
        return PriceSummaryLine("Total before tax", "", "", "", self.cost, self.net)


def priced(content: Content, choices: Mapping[str, Any] | None = None) -> RevisionPrices:
    """Return the price summary of a content document, with the selected choices if there are any."""
    chosen = read_choices(content, choices)
    whole = sums(content, chosen)
    build = next(item for item in content["builds"] if item["key"] == chosen.build)
    percents = [payment["label"] for payment in content["payments"]]
    return RevisionPrices(
        lines=tuple(_row(line, build["costing"]) for line in whole.lines),
        costing=tuple(_row(line) for line in build["costing"]),
        cost=sum((Decimal(line["cost"]) for line in whole.lines), ZERO),
        net=whole.net,
        tax=whole.tax,
        total=whole.total,
        parties=tuple(
            {"party": party, "net": own.net, "tax": own.tax, "total": own.total}
            for party in content["parties"]
            for own in (whole.parties[party["key"]],)
        ),
        others=tuple(_others(content, chosen, whole.total)),
        options=tuple(_option(content, option, chosen, whole.total) for option in content["options"]),
        payments=tuple(
            {"label": label, "amount": amount} for label, amount in zip(percents, whole.payments, strict=False)
        ),
        stops=tuple(dict.fromkeys(stop for item in content["builds"] for stop in item["stops"])),
        buying=_buying(build.get("buying")),
    )


def _row(line: Mapping[str, Any], costing: Sequence[Mapping[str, Any]] = ()) -> PriceSummaryLine:
    detail = line.get("detail", "") or ". ".join(part for part in (line.get("calculation"), line.get("reason")) if part)
    return PriceSummaryLine(
        line["text"],
        detail,
        line["quantity"],
        _unit(line["unit"]),
        Decimal(line["cost"]),
        Decimal(line["net"]),
        made_of(line, costing),
    )


def made_of(line: Mapping[str, Any], costing: Sequence[Mapping[str, Any]]) -> tuple[tuple[str, Decimal], ...]:
    """Return the amount of each cost in a line; empty for a line of a single cost or with an accepted price."""
    found = [
        (row["text"], Decimal(row["allocated_to"][line["key"]]))
        for row in costing
        if line["key"] in row.get("allocated_to", {})
    ]
    is_all = sum((net for _, net in found), ZERO) == Decimal(line["net"])
    return tuple(found) if len(found) > 1 and is_all else ()


def _buying(buying: Mapping[str, Any] | None) -> Mapping[str, Any] | None:
    """Return the purchase data with amounts as numbers and the extra cost of buying from a single supplier."""
    if buying is None:
        return None
    orders = [{**row, **{name: Decimal(row[name]) for name in _MONEY}} for row in buying["orders"]]
    total = sum((row["total"] for row in orders), ZERO)
    alone = [
        {**row, "total": own, "more": None if own is None else own - total}
        for row in buying["single_supplier_options"]
        for own in [None if row["total"] is None else Decimal(row["total"])]
    ]
    return {
        "orders": orders,
        "total": total,
        "single_supplier_options": alone,
        "max_further_saving": Decimal(buying["max_further_saving"]),
    }


_MONEY = ("goods", "delivery", "total")


def _unit(code: str) -> str:
    return UNITS.get(code, code)


def _others(content: Content, chosen: Choices, total: Decimal) -> Iterable[Mapping[str, Any]]:
    for build in content["builds"]:
        if build["key"] == BASE:
            continue
        other = sums(content, Choices(build["key"], chosen.options))
        cost = sum((Decimal(line["cost"]) for line in other.lines), ZERO)
        row = PriceSummaryLine(build["label"], "", "", "", cost, other.net)
        yield {"row": row, "total": other.total, "difference": other.total - total}


def _option(content: Content, option: Mapping[str, Any], chosen: Choices, total: Decimal) -> Mapping[str, Any]:
    lines, is_chosen = option["lines"], option["key"] in chosen.options
    other = sums(content, Choices(chosen.build, chosen.options ^ {option["key"]})).total
    adds = total - other if is_chosen else other - total
    net, cost = (sum((Decimal(line[name]) for line in lines), ZERO) for name in ("net", "cost"))
    row = PriceSummaryLine(option["label"], option["detail"], "", "", cost, net)
    return {"row": row, "difference": adds, "chosen": is_chosen}
