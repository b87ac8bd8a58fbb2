"""Price lines: cost lines with markup, and a separate line for each discount, minimum charge and rounding."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction

from catalogue.rules.price_rule_lines import GivenTo
from catalogue.rules.price_rules import Markup, PriceRules, TaxCode
from fencing.model.faults import Fault, InvalidDocument
from quotes.pricing.costs import CostLine, by_weight
from quotes.pricing.shares import Shares, overall, party_shares
from shared.common.money import Apportionment, TaxableAmount, rounded, rounded_to_step

ZERO = Decimal(0)
ADJUSTMENTS = ("discount", "least_charge", "rounding")
"""Kinds of lines that a price rule adds, in the order they are calculated."""


@dataclass(frozen=True, slots=True)
class PriceLine:
    """A line of the price. ``kind`` is "cost" for a cost line, otherwise the rule that made it.

    ``parts`` are the exact shares of the parties; ``working`` shows the calculation of ``net``, ``why`` the reason for the cost.
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
    working: str
    why: str = ""

    @property
    def taxed(self) -> TaxableAmount:
        return TaxableAmount(self.net, self.tax.category, self.tax.rate)


@dataclass(frozen=True, slots=True)
class Discount:
    """Discount on the sum of the lines: a percentage, an amount, or both. ``why`` gives its source."""

    label: str
    percent: Decimal = ZERO
    amount: Decimal = ZERO
    why: str = ""

    def __post_init__(self) -> None:
        if not (0 <= self.percent <= 100 and self.amount >= 0):
            raise ValueError("a discount is 0 to 100 percent and an amount that is not negative")


NO_DISCOUNT = "none"
"""Value that a quote names instead of a rule to give no discount."""


@dataclass(frozen=True, slots=True)
class Buyer:
    """Facts that decide about a discount: whether the customer is a returning one, and how many parties pay."""

    returning: bool = False
    parties: int = 1


def choose_discount(asked: Discount | str | None, rules: PriceRules, buyer: Buyer) -> Discount | None:
    """Return the discount of a quote; at most one is given.

    Rule: what the quote asks for counts: a discount of its own, a rule by its key, or no discount. If it asks for nothing,
    the automatic rule with the largest percentage is given.

    Raises:
        InvalidDocument: the price rules do not have the named rule on the day of the quote.
    """
    if isinstance(asked, Discount):
        return asked
    if asked == NO_DISCOUNT:
        return None
    if asked is not None and asked not in rules.discounts:
        known = ", ".join([*rules.discounts, NO_DISCOUNT])
        text = f"The price rules have no discount {asked!r} today. Choose from: {known}."
        raise InvalidDocument([Fault("/discount/rule", "discount.unknown", text)])
    reasons = {GivenTo.RETURNING: "the customer accepted another job before"} if buyer.returning else {}
    if buyer.parties > 1:
        reasons[GivenTo.SHARED] = f"{buyer.parties} parties share the cost"
    fitting = [rule for rule in rules.discounts.values() if rule.given_to in reasons]
    rule = rules.discounts[asked] if asked else min(fitting, key=lambda rule: (-rule.percent, rule.key), default=None)
    if rule is None:
        return None
    why = f"Price rule {rule.key}, picked on the quote" if asked else f"Price rule {rule.key}: {reasons[rule.given_to]}"
    return Discount(rule.label, rule.percent, why=why)


@dataclass(frozen=True, slots=True)
class Adjustment:
    """Amount that a rule adds to (or subtracts from) the previous lines."""

    kind: str
    label: str
    amount: Decimal
    working: str
    why: str = ""


def net_of(lines: Sequence[PriceLine]) -> Decimal:
    """Return the sum of the lines."""
    return sum((line.net for line in lines), ZERO)


def price_lines(
    costs: Sequence[CostLine],
    rules: PriceRules,
    shares: Shares,
    discount: Discount | None = None,
    by_hand: Sequence[PriceLine] = (),
) -> list[PriceLine]:
    """Return the price lines of a job; lines for the whole job get the parties' overall shares.

    Rule: each line is its cost with the markup of its role, role family or category, rounded to the minor unit. Separate
    lines follow: the discount on their sum, the amount up to the minimum job charge, the rounding to the business's step, all
    before tax. Lines priced ``by_hand`` are not returned but count for these three.

    Raises:
        InvalidDocument: a tax code has no rate.
    """
    lines = [_cost_line(line, rules, shares) for line in costs]
    whole = overall(((line.net, line.parts) for line in lines), shares)
    lines = [line if line.parts is not None else replace(line, parts=whole) for line in lines]
    added = list[PriceLine]()
    if discount is not None:
        added += _adjusted(_discount([*lines, *by_hand], rules, discount), [*lines, *by_hand], rules, shares)
    for rule in (_least_charge, _rounding):
        so_far = [*lines, *by_hand, *added]
        added += _adjusted(rule(so_far, rules), so_far, rules, shares)
    return lines + added


def line_by_hand(key: str, label: str, net: Decimal, tax: TaxCode, parts: dict[str, Fraction] | None) -> PriceLine:
    """Return a line priced by hand in the form that the price rules use."""
    return PriceLine(key, "extra", "extra", label, Decimal(1), "C62", ZERO, net, tax, "", parts, "by hand")


UNITS = {"C62": "", "MTR": "m", "MTQ": "m³", "KGM": "kg", "HUR": "h", "DAY": "days", "TNE": "t", "XBG": "bags"}
"""Labels of units, by code; pieces need none."""
RATE_PLACES = 4  # of what the catalogue and the price rules have


def _working(line: CostLine, cost: Decimal, markup: Markup, net: Decimal, digits: int) -> str:
    how = f"{markup.percent.normalize():f} % {'margin' if markup.of_price else 'markup'}"
    quantity = f"{line.quantity.normalize():f} {UNITS.get(line.unit, line.unit)}".rstrip()
    is_product = line.rate == rounded(line.rate, RATE_PLACES) and rounded(line.quantity * line.rate, digits) == cost
    return f"{quantity}{f' at {line.rate.normalize():f}' if is_product else ''} = {cost:f}; {how} = {net:f}"


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
        working=_working(line, cost, markup, net, rules.digits),
        why=line.why,
    )


def _discount(lines: Sequence[PriceLine], rules: PriceRules, discount: Discount) -> Adjustment:
    net = net_of(lines)
    part = rounded(Fraction(net) * Fraction(discount.percent) / 100, rules.digits)
    amount = rounded(discount.amount, rules.digits)
    off = min(part + amount, max(net, ZERO))
    more = f", and {amount:f}" if amount else ""
    most = "; no more than all of it" if off < part + amount else ""
    working = f"{discount.percent.normalize():f} % of {net:f} = {part:f}{more}{most}"
    return Adjustment("discount", discount.label, -off, working, discount.why)


def _least_charge(lines: Sequence[PriceLine], rules: PriceRules) -> Adjustment:
    net, least = net_of(lines), rounded(rules.minimum_job_charge, rules.digits)
    missing = max(least - net, ZERO) if lines else ZERO
    return Adjustment("least_charge", "Minimum job charge", missing, f"{net:f} made up to {least:f}")


def _rounding(lines: Sequence[PriceLine], rules: PriceRules) -> Adjustment:
    net = net_of(lines)
    to = rounded_to_step(net, rules.rounding_step, rules.digits, rules.rounding)
    return Adjustment("rounding", "Rounding", to - net, f"{net:f} to the nearest {rules.rounding_step.normalize():f}")


def _adjusted(adjustment: Adjustment, lines: Sequence[PriceLine], rules: PriceRules, shares: Shares) -> list[PriceLine]:
    """Return a line for each tax code of the previous lines, in proportion to its net; no lines if the amount is 0."""
    if not adjustment.amount:
        return []
    taxes = {line.tax.code: line.tax for line in lines}
    nets = {code: max(net_of([line for line in lines if line.tax.code == code]), ZERO) for code in taxes}
    parts = by_weight(nets) or {next(iter(taxes)): Fraction(1)}
    whole = overall(((line.net, line.parts) for line in lines), shares)
    divided = Apportionment(rules.digits, rules.rounding_difference).share(adjustment.amount, parts)
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
            working=adjustment.working,
            why=adjustment.why,
        )
        for code, part in divided.items()
        if part
    ]
