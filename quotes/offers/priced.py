"""What a revision comes to as the estimator sees it: cost, margin and price beside each other, and each party's part."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from quotes.offers.sums import BASE, Choices, Content, read_choices, sums

ZERO = Decimal(0)
KINDS = {"material": "Materials", "labour": "Labour", "disposal": "Disposal", "hire": "Hire"}


@dataclass(frozen=True, slots=True)
class Row:
    text: str
    detail: str
    quantity: str
    unit: str
    cost: Decimal
    net: Decimal

    @property
    def margin(self) -> str:
        """Per cent of the price that is not cost; nothing where either is missing, as on a line that rounds."""
        return f"{(self.net - self.cost) / self.net * 100:.1f}" if self.net and self.cost else ""


@dataclass(frozen=True, slots=True)
class Priced:
    """One revision's money."""

    lines: tuple[Row, ...]
    costing: tuple[Row, ...]
    cost: Decimal
    net: Decimal
    tax: Decimal
    total: Decimal
    parties: tuple[Mapping[str, Any], ...]
    others: tuple[Mapping[str, Any], ...]
    options: tuple[Mapping[str, Any], ...]
    payments: tuple[Mapping[str, Any], ...]
    stops: tuple[str, ...]

    @property
    def whole(self) -> Row:
        return Row("Total before tax", "", "", "", self.cost, self.net)


def priced(content: Content, choices: Mapping[str, Any] | None = None) -> Priced:
    """The figures of a content document, frozen or previewed, with its choices where they are settled."""
    chosen = read_choices(content, choices)
    whole = sums(content, chosen)
    build = next(one for one in content["builds"] if one["key"] == chosen.build)
    percents = [one["label"] for one in content["payments"]]
    return Priced(
        lines=tuple(_row(line) for line in whole.lines),
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
        options=tuple(_option(option, chosen) for option in content["options"]),
        payments=tuple(
            {"label": label, "amount": amount} for label, amount in zip(percents, whole.payments, strict=False)
        ),
        stops=tuple(dict.fromkeys(stop for one in content["builds"] for stop in one["stops"])),
    )


def _row(line: Mapping[str, Any]) -> Row:
    detail = line.get("detail", "") or line.get("working", "")
    return Row(line["text"], detail, line["quantity"], _unit(line["unit"]), Decimal(line["cost"]), Decimal(line["net"]))


def _unit(code: str) -> str:
    words = {"C62": "", "MTR": "m", "MTQ": "m³", "KGM": "kg", "HUR": "h", "DAY": "days", "TNE": "t"}
    return words.get(code, code)


def _others(content: Content, chosen: Choices, total: Decimal) -> Iterable[Mapping[str, Any]]:
    for one in content["builds"]:
        if one["key"] == BASE:
            continue
        other = sums(content, Choices(one["key"], chosen.options))
        cost = sum((Decimal(line["cost"]) for line in other.lines), ZERO)
        row = Row(one["label"], "", "", "", cost, other.net)
        yield {"row": row, "total": other.total, "difference": other.total - total}


def _option(option: Mapping[str, Any], chosen: Choices) -> Mapping[str, Any]:
    lines = option["lines"]
    net, cost = (sum((Decimal(line[name]) for line in lines), ZERO) for name in ("net", "cost"))
    return {"row": Row(option["label"], option["detail"], "", "", cost, net), "chosen": option["key"] in chosen.options}
