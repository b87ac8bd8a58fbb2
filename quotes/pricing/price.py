"""Costed lines into a price, on one page: lines, options, totals, parties, instalments.

Every total is the sum of its printed lines: what a rule adds or takes off is a line of its own.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from catalogue.rules import Instalment, PriceRules
from fencing.faults import Fault, Refused
from quotes.pricing.costs import CostLine
from quotes.pricing.lines import ZERO, Discount, PriceLine, price_lines
from quotes.pricing.parties import PartyPrice, divide
from quotes.pricing.shares import Shares
from shared.money import Totals, rounded, totals


@dataclass(frozen=True, slots=True)
class Option:
    """Something the customer may choose. Of the options of one ``group`` (alternatives) exactly one is chosen."""

    key: str
    label: str
    group: str | None = None


@dataclass(frozen=True, slots=True)
class PricedOption:
    """``difference``: what an option adds to the price, tax included; in a group, against the one that is chosen."""

    option: Option
    chosen: bool
    difference: Decimal


@dataclass(frozen=True, slots=True)
class Price:
    """A priced job. ``lines`` add up to ``totals.exclusive``; the parties' totals add up to ``totals.inclusive``."""

    lines: tuple[PriceLine, ...]
    totals: Totals
    cost: Decimal
    options: tuple[PricedOption, ...]
    parties: tuple[PartyPrice, ...]
    instalments: tuple[tuple[Instalment, Decimal], ...]

    @property
    def margin(self) -> Decimal:
        """What the price before tax leaves over the cost."""
        return self.totals.exclusive - self.cost

    @property
    def margin_percent(self) -> Decimal:
        """Margin in percent of the price before tax, to one place."""
        exclusive = self.totals.exclusive
        return rounded(Fraction(self.margin) / Fraction(exclusive) * 100, 1) if exclusive else ZERO


def price(
    costs: Sequence[CostLine],
    rules: PriceRules,
    *,
    shares: Shares | None = None,
    options: Sequence[Option] = (),
    chosen: Iterable[str] = (),
    discount: Discount | None = None,
    by_hand: Sequence[PriceLine] = (),
) -> Price:
    """The price of costed lines.

    Rule: each line is its cost with the markup of its role, role family or category, rounded to the minor unit. Lines of
    options count when chosen. Then, each as a printed line: the discount off their sum, what is missing to the least job
    charge, the rounding to the business's step (all before tax); what is priced ``by_hand`` counts for these three and is
    otherwise left to who priced it. Tax is reckoned by the business's rule; parties pay exact
    shares, run by run; instalments are percentages of each party's total.

    Raises:
        Refused: an option that is not offered or a group of which not exactly one is chosen; a tax code without a rate.
    """
    shares, wanted = shares or Shares(), frozenset(chosen)
    _check_choice(options, wanted, costs)

    def lines_of(choice: frozenset[str]) -> list[PriceLine]:
        return price_lines(costs, rules, shares, choice, discount, by_hand)

    def inclusive(choice: frozenset[str]) -> Decimal:
        return _totals(lines_of(choice), rules).inclusive

    lines = lines_of(wanted)
    total = _totals(lines, rules)
    parties = divide(lines, total.breakdown, rules, shares)
    return Price(
        lines=tuple(lines),
        totals=total,
        cost=sum((line.cost for line in lines), ZERO),
        options=tuple(
            PricedOption(option, option.key in wanted, inclusive(with_it) - inclusive(without))
            for option in options
            for with_it, without in [_either_way(option, options, wanted)]
        ),
        parties=parties,
        instalments=tuple(
            (part, sum((dict(party.instalments)[part.key] for party in parties), ZERO)) for part in rules.instalments
        ),
    )


def _totals(lines: Sequence[PriceLine], rules: PriceRules) -> Totals:
    return totals([line.taxed for line in lines], rule=rules.tax_rule, digits=rules.digits)


def _check_choice(options: Sequence[Option], chosen: frozenset[str], costs: Sequence[CostLine]) -> None:
    known = {option.key for option in options}
    used = {line.option for line in costs if line.option is not None}
    faults = [
        Fault("/options", "option.unknown", f"There is no option {key!r}.") for key in sorted((chosen | used) - known)
    ]
    for group in dict.fromkeys(option.group for option in options if option.group is not None):
        count = sum(option.key in chosen for option in options if option.group == group)
        if count != 1:
            faults.append(Fault("/options", "option.group", f"Of {group!r} exactly one is chosen, not {count}."))
    if faults:
        raise Refused(faults)


def _either_way(
    option: Option, options: Sequence[Option], chosen: frozenset[str]
) -> tuple[frozenset[str], frozenset[str]]:
    """The choice with an option and the one to compare it with: without it, or as chosen where it has a group."""
    if option.group is None:
        return chosen | {option.key}, chosen - {option.key}
    return (chosen - {other.key for other in options if other.group == option.group}) | {option.key}, chosen
