"""Costs of a quote for the estimator: cost, margin and price of each line, and quoted, ordered and used materials."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from quotes.jobs.hooks import Ordered, ordered_for
from quotes.jobs.models import Job
from quotes.jobs.queries import used_by_role
from quotes.pricing.price_lines import UNITS
from quotes.quoting.content import BASE, Content, ContentParty, Line
from quotes.quoting.content_costs import BuyingCosts, Costing, SingleSupplierCost
from quotes.quoting.json_values import JsonObject
from quotes.quoting.queries import agreed_build
from quotes.quoting.totals import Choices, PartySums, build_of, read_choices, sums
from shared.common.money import minor_digits, rounded
from shared.common.problems import Problem

ZERO = Decimal(0)
KINDS = {"material": "Materials", "labour": "Labour", "disposal": "Disposal", "hire": "Hire"}


@dataclass(frozen=True, slots=True)
class PriceSummaryLine:
    text: str
    detail: str
    quantity: Decimal | None
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
class ChoicePrice:
    """Price of an alternative or option, and the change of the total that it causes."""

    row: PriceSummaryLine
    difference: Decimal
    chosen: bool = False


@dataclass(frozen=True, slots=True)
class BuyingSummary:
    """Suppliers that the materials are priced from.

    ``single_supplier_options``: the cost of buying everything from one of them, and how much more that is than ``total``.
    """

    costs: BuyingCosts
    total: Decimal
    single_supplier_options: tuple[tuple[SingleSupplierCost, Decimal | None], ...]


@dataclass(frozen=True, slots=True)
class RevisionPrices:
    """Amounts of a revision. ``choices`` are its alternatives and options, ``payments`` labels with amounts."""

    lines: tuple[PriceSummaryLine, ...]
    costing: tuple[PriceSummaryLine, ...]
    cost: Decimal
    net: Decimal
    tax: Decimal
    total: Decimal
    parties: tuple[tuple[ContentParty, PartySums], ...]
    choices: tuple[ChoicePrice, ...]
    payments: tuple[tuple[str, Decimal], ...]
    stops: tuple[str, ...]
    buying: BuyingSummary

    @property
    def whole(self) -> PriceSummaryLine:
        return PriceSummaryLine("Total before tax", "", None, "", self.cost, self.net)


def priced(content: Content, choices: JsonObject | None = None) -> RevisionPrices:
    """Return the price summary of a content, with the selected choices if there are any."""
    chosen = read_choices(content, choices)
    whole, build = sums(content, chosen), build_of(content, chosen)
    return RevisionPrices(
        lines=tuple(_line(line, line.detail, made_of(line, build.costing)) for line in whole.lines),
        costing=tuple(_line(row, ". ".join(filter(None, (row.calculation, row.reason)))) for row in build.costing),
        cost=sum((line.cost for line in whole.lines), ZERO),
        net=whole.net,
        tax=whole.tax,
        total=whole.total,
        parties=tuple((party, whole.parties[party.key]) for party in content.parties),
        choices=tuple(_choices(content, chosen, whole.total)),
        payments=tuple(zip((payment.label for payment in content.payments), whole.payments, strict=False)),
        stops=tuple(dict.fromkeys(stop for item in content.builds for stop in item.stops)),
        buying=_buying(build.buying),
    )


def _line(row: Line | Costing, detail: str, parts: tuple[tuple[str, Decimal], ...] = ()) -> PriceSummaryLine:
    return PriceSummaryLine(row.text, detail, row.quantity, UNITS.get(row.unit, row.unit), row.cost, row.net, parts)


def made_of(line: Line, costing: Sequence[Costing]) -> tuple[tuple[str, Decimal], ...]:
    """Return the amount of each cost in a line; empty for a line of a single cost or with an accepted price."""
    found = [(row.text, row.allocated_to[line.key]) for row in costing if line.key in row.allocated_to]
    is_all = sum((net for _, net in found), ZERO) == line.net
    return tuple(found) if len(found) > 1 and is_all else ()


def _buying(buying: BuyingCosts) -> BuyingSummary:
    """Return the purchase data with the extra cost of buying from a single supplier."""
    total = sum((order.total for order in buying.orders), ZERO)
    single = buying.single_supplier_options
    more = tuple((row, None if row.total is None else row.total - total) for row in single)
    return BuyingSummary(buying, total, more)


def _choices(content: Content, chosen: Choices, total: Decimal) -> Iterator[ChoicePrice]:
    """Yield the alternatives and the options, each with the change of the total that it causes."""
    for build in content.builds:
        if build.key != BASE:
            other = sums(content, Choices(build.key, chosen.options))
            cost = sum((line.cost for line in other.lines), ZERO)
            row = PriceSummaryLine(f"Alternative: {build.label}", "", None, "", cost, other.net)
            yield ChoicePrice(row, other.total - total)
    for option in content.options:
        is_chosen = option.key in chosen.options
        other = sums(content, Choices(chosen.build, chosen.options ^ {option.key}))
        net, cost = (sum((getattr(line, name) for line in option.lines), ZERO) for name in ("net", "cost"))
        row = PriceSummaryLine(option.label, option.detail, None, "", cost, net)
        yield ChoicePrice(row, total - other.total if is_chosen else other.total - total, is_chosen)


def compare_built(job: Job) -> JsonObject:
    """Return a row for each role of material that was quoted, ordered or used, and the totals.

    Rule: quoted is the cost of the accepted build. Used is costed at the unit cost of the orders, or of the quote if
    nothing was ordered. Totals are the sums of the rows.
    """
    build = agreed_build(job)
    if build is None:
        raise Problem("conflict", "This job has no accepted quote yet.")
    quoted: dict[str, Ordered] = {}
    for line in build.costing:
        if line.role:
            before = quoted.get(line.role, Ordered(ZERO, ZERO))
            quoted[line.role] = Ordered(before.quantity + line.quantity, before.cost + line.cost)
    ordered, used = ordered_for(job), used_by_role(job)
    digits = minor_digits(job.business.currency)
    rows = [
        _row(role, quoted.get(role), ordered.get(role), used.get(role), digits)
        for role in dict.fromkeys([*quoted, *sorted(ordered), *sorted(used)])
    ]
    amounts = ("quoted_cost", "ordered_cost", "used_cost", "used_minus_quoted")
    totals = {name: format(sum((Decimal(row[name]) for row in rows), ZERO), "f") for name in amounts}
    return {"job": job.ref, "currency": job.business.currency, "rows": rows, "totals": totals}


def _row(role: str, quoted: Ordered | None, ordered: Ordered | None, used: Decimal | None, digits: int) -> JsonObject:
    basis = ordered if ordered and ordered.quantity else quoted
    each = Fraction(basis.cost) / Fraction(basis.quantity) if basis and basis.quantity else Fraction(0)
    used_cost = rounded(Fraction(used or ZERO) * each, digits)
    quoted_cost = quoted.cost if quoted else ZERO
    return {
        "role": role,
        "quoted": _count(quoted.quantity if quoted else None),
        "ordered": _count(ordered.quantity if ordered else None),
        "used": _count(used),
        "quoted_cost": format(quoted_cost, "f"),
        "ordered_cost": format(ordered.cost if ordered else ZERO, "f"),
        "used_cost": format(used_cost, "f"),
        "used_minus_quoted": format(used_cost - quoted_cost if used is not None else ZERO, "f"),
    }


def _count(quantity: Decimal | None) -> str | None:
    return None if quantity is None else format(quantity.normalize(), "f")
