"""Combined purchase of several jobs, and its saving over buying for each job separately."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from fencing.buying.purchase import purchase
from fencing.buying.purchase_lines import Purchase
from fencing.buying.stock_options import StockLengthOption, StockOptions
from fencing.cutting import CONSOLIDATED, Budget
from fencing.model.pieces import Piece, Quantity

Job = tuple[Sequence[Piece], Sequence[Quantity]]


@dataclass(frozen=True, slots=True)
class Consolidation:
    """Combined purchase. ``alone`` has each job's own purchase, in order; a job uses the offcuts that are left by then."""

    together: Purchase
    alone: tuple[tuple[str, Purchase], ...]
    worth_it: bool

    @property
    def saving(self) -> Decimal:
        """Return the saving of the combined purchase [the business's currency]; 0 if separate purchases cost no more.

        >>> none = Purchase((), (), (), ())
        >>> Consolidation(none, (("A", none),), False).saving
        Decimal('0')
        """
        apart = sum((bought.total for _, bought in self.alone), Decimal(0))
        return max(Decimal(0), apart - self.together.total)


def consolidate(jobs: Mapping[str, Job], market: StockOptions, budget: Budget = CONSOLIDATED) -> Consolidation:
    """Plan one purchase for several jobs, and calculate its saving.

    Rule: the location of a piece begins with its job's name; counted items are added up before packing.

    Args:
        jobs: pieces [mm] and quantities by job name, in the order of buying.
        market: available stock options.
        budget: work limit of each cutting plan.

    Returns:
        The common purchase, each job's own, and the saving (never negative).

    Source: house rule.

    Example: each job alone needs a length of 4800 for one rail of 2390; together one length is enough, with a cut of 3:

        >>> market = StockOptions(stock=(StockLengthOption("r48", "rail", None, 4800, Decimal(36), keep=5000),), kerf={"rail": 3})
        >>> rail = [Piece("rail", None, None, 2390, None, 1, ("A-1",))]
        >>> consolidate({"first": (rail, []), "second": (rail, [])}, market).saving
        Decimal('36')
    """
    alone: list[tuple[str, Purchase]] = []
    rest = market
    for name, (pieces, quantities) in jobs.items():
        bought = purchase(pieces, quantities, rest, budget)
        alone.append((name, bought))
        rest = _without(rest, bought)
    pieces = [piece for name, job in jobs.items() for piece in _add_job_name(name, job[0])]
    together = purchase(pieces, _merge([row for _, rows in jobs.values() for row in rows]), market, budget)
    apart = sum((bought.total for _, bought in alone), Decimal(0))
    return Consolidation(together, tuple(alone), together.total < apart)


def _add_job_name(job: str, pieces: Sequence[Piece]) -> list[Piece]:
    return [replace(piece, used_at=tuple(f"{job} {where}" for where in piece.used_at), site=job) for piece in pieces]


def _merge(rows: Sequence[Quantity]) -> list[Quantity]:
    """Merge rows of the same role, finish and unit."""
    merged: dict[tuple[str, str | None, str], Quantity] = {}
    for row in rows:
        key = (row.role, row.finish, row.unit)
        old = merged.get(key)
        if old is not None:
            total = old.total + row.total
            row = replace(
                row,
                net=old.net + row.net,
                allowance=old.allowance + row.allowance,
                total=total,
                breakdown=old.breakdown + row.breakdown,
            )
        merged[key] = row
    return list(merged.values())


def _without(market: StockOptions, bought: Purchase) -> StockOptions:
    """Return the stock options without the offcuts that were used."""
    used: dict[tuple[str, int | None], int] = {}
    for line in bought.lines:
        if line.on_hand:
            key = (line.sku, line.length)
            used[key] = used.get(key, 0) + int(line.ordered)
    stock: list[StockLengthOption] = []
    for item in market.stock:
        if item.have is not None:
            take = min(item.have, used.get((item.sku, item.length), 0))
            if take:
                used[item.sku, item.length] -= take
                item = replace(item, have=item.have - take)
        stock.append(item)
    return replace(market, stock=tuple(stock))
