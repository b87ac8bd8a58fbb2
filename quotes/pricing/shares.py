"""Exact cost shares of the parties: of each run, and of the lines for the whole job."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction

from quotes.pricing.costs import CostLine, by_weight
from shared.common.money import check_shares

OWNER = "owner"
PartyShares = Mapping[str, Fraction]


@dataclass(frozen=True, slots=True)
class Shares:
    """Exact shares of each run (or retrofit). ``otherwise`` applies to a run without shares."""

    by_run: Mapping[str, PartyShares] = field(default_factory=dict)
    otherwise: PartyShares = field(default_factory=lambda: {OWNER: Fraction(1)})

    def __post_init__(self) -> None:
        for shares in (*(item for item in self.by_run.values() if item), self.otherwise):
            check_shares(shares)

    def of_run(self, run: str) -> PartyShares:
        return self.by_run.get(run) or self.otherwise


def party_keys(shares: Iterable[Mapping[str, object]]) -> list[str]:
    """Return the parties of a fence with these shares: the owner first; only the owner if no run names a party.

    >>> party_keys([{"neighbour": "1/2", "owner": "1/2"}, {}])
    ['owner', 'neighbour']
    """
    keys = list(dict.fromkeys(key for row in shares for key in sorted(row))) or [OWNER]
    return sorted(keys, key=lambda key: key != OWNER)


def party_shares(line: CostLine, shares: Shares) -> dict[str, Fraction] | None:
    """Return the exact share of a line that each party pays; None for a line of the whole job."""
    if not line.runs:
        return None
    parts: dict[str, Fraction] = {}
    for run, weight in line.runs.items():
        for party, share in shares.of_run(run).items():
            parts[party] = parts.get(party, Fraction(0)) + weight * share
    return parts


def overall(parts: Iterable[tuple[Decimal, Mapping[str, Fraction] | None]], shares: Shares) -> dict[str, Fraction]:
    """Return the shares of lines for the whole job: like those of the lines of runs, weighted by amount."""
    weights: dict[str, Fraction] = {}
    for net, line_parts in parts:
        for party, share in (line_parts or {}).items():
            weights[party] = weights.get(party, Fraction(0)) + Fraction(net) * share
    if any(weight < 0 for weight in weights.values()) or not any(weights.values()):
        return dict(shares.otherwise)
    return by_weight(weights)
