"""Purchase plan for accepted jobs: pieces by the cutting plan, stock first, split over suppliers. Values only."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from fencing.buying.buy import OrderLimits, Stock, buy
from fencing.buying.choose_suppliers import Sourcing
from fencing.buying.needs import COMBINED_POLICY, ORDER_POLICY, Need
from fencing.buying.purchase import buy_separately, combine
from fencing.buying.purchase_lines import Purchase
from fencing.buying.stock_options import OnHand, stock_options
from fencing.buying.suppliers import PurchaseOptions, SupplierSplit
from fencing.model.faults import Fault, InvalidDocument
from quotes.purchasing.job_materials import read_needs

ZERO = Decimal(0)


@dataclass(frozen=True, slots=True)
class PurchasePlan:
    """``taken`` is the stock to use by (sku, length) and job; ``weights`` is each job's share of a sku."""

    needs: tuple[Need, ...]
    taken: Mapping[Stock, Decimal]
    weights: Mapping[str, Mapping[str, Decimal]]
    sourcing: Sourcing
    saving_from_combining_jobs: Decimal
    gap_ppm: int

    def chosen(self, supplier: str | None) -> SupplierSplit:
        """Return the cheapest split, or everything from one supplier. Raise InvalidDocument if that is not possible."""
        if supplier is None:
            if self.sourcing.best is None:
                raise InvalidDocument(self._why_none())
            return self.sourcing.best
        one = self.sourcing.alone.get(supplier)
        if one is None:
            why = self.sourcing.refused.get(supplier, "There is no such active supplier.")
            raise InvalidDocument([Fault("/supplier", "supplier.not_alone", f"{supplier}: {why}")])
        return one

    def _why_none(self) -> list[Fault]:
        """Return the items that no supplier delivers in time, or the error that no choice of suppliers is allowed."""
        found = [
            Fault("/jobs", "supplier.none", f"No supplier sells {sku}, or none delivers it in time.")
            for sku in self.sourcing.unserved
        ]
        text = "No allowed choice of suppliers delivers everything in time and reaches each minimum order value."
        return found or [Fault("/jobs", "supplier.none", text)]


def plan_for(
    takeoffs: Mapping[str, Mapping[str, Any]],
    market: PurchaseOptions,
    on_hand: Sequence[OnHand] = (),
    *,
    kerf: int,
    strips: int | None = None,
    days: int | None = None,
    max_suppliers: int | None = None,
    digits: int = 2,
) -> PurchasePlan:
    """Return the purchase for frozen take-offs by job. Raise InvalidDocument with every item that no supplier sells.

    ``strips`` is the width of a sheet [mm] if its ripped strips can be reused on the same job. ``digits`` are those of the
    currency: amounts of lines are rounded as they are printed.
    """
    jobs = {name: read_needs(takeoff, market, kerf, strips) for name, takeoff in takeoffs.items()}
    policy, both = (ORDER_POLICY, next(iter(jobs.values()))) if len(jobs) == 1 else (COMBINED_POLICY, combine(jobs))
    found = buy(both, market, policy, on_hand, OrderLimits(days, max_suppliers, digits))
    if found.missing:
        raise InvalidDocument(
            Fault("/jobs", "supply.missing", f"{item.role} {item.finish or ''} {item.length or ''}: {item.text}.")
            for item in found.missing
        )
    alone = dict.fromkeys(jobs, found.purchase)
    if len(jobs) > 1:
        lengths = [item for item in on_hand if item.length is not None]
        alone = buy_separately(jobs, stock_options(market, both, policy, lengths), policy)
    apart = sum((own.total for own in alone.values()), ZERO)
    saving = max(ZERO, apart - found.purchase.total)
    weights, gap = _weights(found.purchase, alone), found.purchase.gap_ppm
    return PurchasePlan(found.needs, found.taken, weights, found.sourcing, saving, gap)


def _weights(found: Purchase, alone: Mapping[str, Purchase]) -> dict[str, dict[str, Decimal]]:
    """Return each job's share of each sku: cut items by the lengths each job gets, the rest as each would buy alone."""
    weights: dict[str, dict[str, Decimal]] = {}
    for job, bought in alone.items():
        for line in bought.lines:
            if not line.on_hand:
                _add(weights, line.sku, job, line.net + line.allowance)
    cut: dict[str, dict[str, Decimal]] = {}
    for sku, where, length in _cut_from(found) if len(alone) > 1 else ():
        # a common purchase names each piece's job before its location
        job = where.partition(" ")[0]
        if job in alone:
            _add(cut, sku, job, Decimal(length))
    return weights | cut


def _add(weights: dict[str, dict[str, Decimal]], sku: str, job: str, quantity: Decimal) -> None:
    of = weights.setdefault(sku, {})
    of[job] = of.get(job, ZERO) + quantity


def _cut_from(found: Purchase) -> Iterator[tuple[str, str, int]]:
    """Return sku, location and length of every piece. A sheet has the first one; its strip is used on the same job."""
    for cutting in found.cuttings:
        for bar in cutting.bars:
            for piece in bar.pieces:
                yield bar.sku, piece.used_at, piece.length
    for blank in found.blanks:
        if not blank.on_hand:
            length, _, where = blank.takes[0]
            yield blank.sku, where, length
