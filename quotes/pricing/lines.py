"""Lines of a price: what a cost is sold at, and a line of its own for whatever a rule adds or takes off."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction

from catalogue.rules import Markup, PriceRules, TaxCode
from quotes.pricing.costs import CostLine, by_weight
from quotes.pricing.shares import Shares, overall, party_shares
from shared.money import Sharing, Taxed, rounded, rounded_to_step

ZERO = Decimal(0)


@dataclass(frozen=True, slots=True)
class PriceLine:
    """One line of the price. ``kind`` is "cost" for a costed line, otherwise the rule that made it.

    ``parts`` is what each party pays of it, exactly; ``working`` says how ``net`` came about.
    """

    key: str
    kind: str
    category: str
    label: str
    quantity: Decimal
    unit: str
    cost: Decimal
    net: Decimal
    tax: TaxCode
    account: str
    parts: dict[str, Fraction] | None
    option: str | None
    working: str

    @property
    def taxed(self) -> Taxed:
        return Taxed(self.net, self.tax.category, self.tax.rate)


@dataclass(frozen=True, slots=True)
class Discount:
    """Off the sum of the lines: a percentage, an amount, or both."""

    label: str
    percent: Decimal = ZERO
    amount: Decimal = ZERO

    def __post_init__(self) -> None:
        if not (0 <= self.percent <= 100 and self.amount >= 0):
            raise ValueError("a discount is 0 to 100 percent and an amount that is not negative")


@dataclass(frozen=True, slots=True)
class Adjustment:
    """What a rule adds to (or takes off) the lines so far."""

    kind: str
    label: str
    amount: Decimal
    working: str


def net_of(lines: Sequence[PriceLine]) -> Decimal:
    """The sum of the lines."""
    return sum((line.net for line in lines), ZERO)


def price_lines(
    costs: Sequence[CostLine], rules: PriceRules, shares: Shares, chosen: frozenset[str], discount: Discount | None
) -> list[PriceLine]:
    """All printed lines of the chosen options; those of the job as a whole get the parties' overall shares."""
    lines = [_cost_line(line, rules, shares) for line in costs if line.option is None or line.option in chosen]
    whole = overall(((line.net, line.parts) for line in lines), shares)
    lines = [line if line.parts is not None else replace(line, parts=whole) for line in lines]
    if discount is not None:
        lines += _adjusted(_discount(lines, rules, discount), lines, rules, shares)
    lines += _adjusted(_least_charge(lines, rules), lines, rules, shares)
    return lines + _adjusted(_rounding(lines, rules), lines, rules, shares)


def _working(line: CostLine, cost: Decimal, markup: Markup, net: Decimal) -> str:
    how = f"{markup.percent.normalize():f} % {'margin' if markup.of_price else 'markup'}"
    rate = "as ordered" if line.cost is not None else f"x {line.rate:f}"
    return f"{line.quantity:f} {line.unit} {rate} = {cost:f}; {how} = {net:f}"


def _cost_line(line: CostLine, rules: PriceRules, shares: Shares) -> PriceLine:
    cost, markup = line.costs(rules.digits), rules.markup(line.category, line.role)
    net = rounded(markup.price(cost), rules.digits)
    return PriceLine(
        key=line.key,
        kind="cost",
        category=line.category.value,
        label=line.label,
        quantity=line.quantity,
        unit=line.unit,
        cost=cost,
        net=net,
        tax=rules.tax_by_code(line.tax_code) if line.tax_code else rules.tax(line.category),
        account=rules.account(line.category, line.role),
        parts=party_shares(line, shares),
        option=line.option,
        working=_working(line, cost, markup, net),
    )


def _discount(lines: Sequence[PriceLine], rules: PriceRules, discount: Discount) -> Adjustment:
    net = net_of(lines)
    off = rounded(Fraction(net) * Fraction(discount.percent) / 100, rules.digits) + rounded(
        discount.amount, rules.digits
    )
    working = f"{discount.percent.normalize():f} % of {net:f} and {discount.amount:f}, no more than all of it"
    return Adjustment("discount", discount.label, -min(off, max(net, ZERO)), working)


def _least_charge(lines: Sequence[PriceLine], rules: PriceRules) -> Adjustment:
    net, least = net_of(lines), rounded(rules.least_job_charge, rules.digits)
    missing = max(least - net, ZERO) if lines else ZERO
    return Adjustment("least_charge", "Least job charge", missing, f"{net:f} made up to {least:f}")


def _rounding(lines: Sequence[PriceLine], rules: PriceRules) -> Adjustment:
    net = net_of(lines)
    to = rounded_to_step(net, rules.rounding_step, rules.digits, rules.rounding)
    return Adjustment("rounding", "Rounding", to - net, f"{net:f} to the nearest {rules.rounding_step:f}")


def _adjusted(adjustment: Adjustment, lines: Sequence[PriceLine], rules: PriceRules, shares: Shares) -> list[PriceLine]:
    """One line for each tax code of the lines so far, in proportion to what is taxed by it; none for nothing."""
    if not adjustment.amount:
        return []
    taxes = {line.tax.code: line.tax for line in lines}
    nets = {code: max(net_of([line for line in lines if line.tax.code == code]), ZERO) for code in taxes}
    parts = by_weight(nets) or {next(iter(taxes)): Fraction(1)}
    whole = overall(((line.net, line.parts) for line in lines), shares)
    divided = Sharing(rules.digits, rules.odd_cent).share(adjustment.amount, parts)
    return [
        PriceLine(
            key=adjustment.kind if len(divided) == 1 else f"{adjustment.kind}.{code}",
            kind=adjustment.kind,
            category=adjustment.kind,
            label=adjustment.label if len(divided) == 1 else f"{adjustment.label}, {taxes[code].label}",
            quantity=Decimal(1),
            unit="C62",
            cost=ZERO,
            net=part,
            tax=taxes[code],
            account=rules.account(adjustment.kind),
            parts=whole,
            option=None,
            working=adjustment.working,
        )
        for code, part in divided.items()
        if part
    ]
