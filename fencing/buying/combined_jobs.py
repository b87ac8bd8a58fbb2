"""Combined purchase of several jobs, and the purchase of each job separately."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from fencing.buying.needs import COMBINED_POLICY, BuyingPolicy, Needs
from fencing.buying.purchase import purchase
from fencing.buying.purchase_lines import Purchase
from fencing.buying.stock_options import StockLengthOption, StockOptions
from fencing.model.pieces import Piece, Quantity


def buy_separately(
    jobs: Mapping[str, Needs], market: StockOptions, policy: BuyingPolicy = COMBINED_POLICY
) -> dict[str, Purchase]:
    """Return each job's own purchase, in order; a job uses the offcuts [mm] that are left by then. Source: house rule.

    Example: each job alone needs a length of 4800 for one rail of 2390; together one length is enough, with a cut of 3:

        >>> from decimal import Decimal
        >>> market = StockOptions(stock=(StockLengthOption("r48", "rail", None, 4800, Decimal(36), keep=5000),), kerf={"rail": 3})
        >>> rail = Needs((Piece("rail", None, None, 2390, None, 1, ("A-1",)),), (), 3)
        >>> jobs = {"first": rail, "second": rail}
        >>> [str(own.total) for own in buy_separately(jobs, market).values()], str(purchase(combine(jobs), market).total)
        (['36', '36'], '36')
    """
    alone: dict[str, Purchase] = {}
    for name, own in jobs.items():
        alone[name] = purchase(own, market, policy)
        market = _without(market, alone[name])
    return alone


def combine(jobs: Mapping[str, Needs]) -> Needs:
    """Return the needs of all jobs: pieces [mm] with their job before their location, equal quantities added up.

    The widest saw cut counts. Strips are reused if the sheets of all jobs have one width. Source: house rule.

    >>> combine({"first": Needs((Piece("rail", None, None, 2390, None, 1, ("A-1",)),), (), 3)}).pieces[0].used_at
    ('first A-1',)
    """
    pieces = [piece for name, own in jobs.items() for piece in _add_job_name(name, own.pieces)]
    widths = {own.strip_width for own in jobs.values()}
    return Needs(
        tuple(pieces),
        tuple(_merge([row for own in jobs.values() for row in own.quantities])),
        max(own.kerf for own in jobs.values()),
        max(own.sheet_step for own in jobs.values()),
        widths.pop() if len(widths) == 1 else None,
    )


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
