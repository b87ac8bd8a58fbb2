"""Who pays which part: every line to the cent, and the parties' totals always those of the job."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from catalogue.rules import PriceRules
from quotes.pricing.costs import by_weight
from quotes.pricing.lines import PriceLine
from quotes.pricing.shares import Shares
from shared.money import Sharing, TaxRow, rounded

ZERO = Decimal(0)


@dataclass(frozen=True, slots=True)
class PartyPrice:
    """What one party pays: its part of each line by key, its tax rows, their sums, and its instalments by key."""

    party: str
    lines: tuple[tuple[str, Decimal], ...]
    taxes: tuple[TaxRow, ...]
    net: Decimal
    tax: Decimal
    total: Decimal
    instalments: tuple[tuple[str, Decimal], ...]


_Divided = list[tuple[PriceLine, dict[str, Decimal]]]


def divide(
    lines: Sequence[PriceLine], taxes: Sequence[TaxRow], rules: PriceRules, shares: Shares
) -> tuple[PartyPrice, ...]:
    """Each party's price. Lines go by their exact parts, each row of tax as the amount it is due on was divided."""
    sharing = Sharing(rules.digits, rules.odd_cent)
    divided = [(line, sharing.share(line.net, line.parts or shares.otherwise)) for line in lines]
    payers = dict.fromkeys(name for line, _ in divided for name, part in (line.parts or {}).items() if part)
    names = tuple(payers) or tuple(name for name, share in shares.otherwise.items() if share)
    nets = [_nets(row, divided, names) for row in taxes]
    tax_parts = [_tax_parts(row, by_party, rules) for row, by_party in zip(taxes, nets, strict=True)]
    return tuple(
        _party(
            name,
            tuple((line.key, parts[name]) for line, parts in divided if parts.get(name)),
            tuple(
                TaxRow(row.category, row.rate, by_party[name], tax.get(name, ZERO))
                for row, by_party, tax in zip(taxes, nets, tax_parts, strict=True)
                if by_party[name] or tax.get(name)
            ),
            rules,
        )
        for name in names
    )


def _party(
    name: str, lines: tuple[tuple[str, Decimal], ...], taxes: tuple[TaxRow, ...], rules: PriceRules
) -> PartyPrice:
    net, tax = sum((part for _, part in lines), ZERO), sum((row.tax for row in taxes), ZERO)
    return PartyPrice(name, lines, taxes, net, tax, net + tax, instalments_of(net + tax, rules))


def _nets(row: TaxRow, divided: _Divided, names: tuple[str, ...]) -> dict[str, Decimal]:
    own = [parts for line, parts in divided if (line.tax.category, line.tax.rate) == (row.category, row.rate)]
    return {name: sum((parts.get(name, ZERO) for parts in own), ZERO) for name in names}


def _tax_parts(row: TaxRow, nets: Mapping[str, Decimal], rules: PriceRules) -> dict[str, Decimal]:
    """The row's tax in proportion to the nets; where they cancel each other out, all of it to the first who has any."""
    one_sided = row.taxable and all(net * row.taxable >= 0 for net in nets.values())
    first = next((name for name, net in nets.items() if net), next(iter(nets)))
    weights = by_weight({name: abs(net) for name, net in nets.items()}) if one_sided else {first: Fraction(1)}
    return Sharing(rules.digits, rules.odd_cent).share(row.tax, weights)


def instalments_of(amount: Decimal, rules: PriceRules) -> tuple[tuple[str, Decimal], ...]:
    """Each instalment of an amount, rounded; the last takes what is left, so that they add up."""
    parts, left = list[tuple[str, Decimal]](), amount
    for instalment in rules.instalments[:-1]:
        part = rounded(Fraction(amount) * Fraction(instalment.percent) / 100, rules.digits)
        parts.append((instalment.key, part))
        left -= part
    return (*parts, *((instalment.key, left) for instalment in rules.instalments[-1:]))
