"""Purchase plan for accepted jobs: pieces by the cutting plan, stock first, split over suppliers. Values only."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from fencing.buying.choose_suppliers import Sourcing, split
from fencing.buying.combined_jobs import Job, consolidate
from fencing.buying.purchase import purchase
from fencing.buying.purchase_lines import Purchase, PurchaseLine
from fencing.buying.stock_options import StockLengthOption
from fencing.buying.stock_options import StockOptions as Offered
from fencing.buying.supplier_orders import SupplierSplit
from fencing.buying.supplier_prices import PurchaseOptions
from fencing.model.faults import Fault, InvalidDocument
from fencing.model.roles import CUT_ROLES
from quotes.purchasing.available_stock import offered, read_pieces, read_quantities

ZERO = Decimal(0)


@dataclass(frozen=True, slots=True)
class OnHand:
    """Quantity of a component in stock; ``length`` if it comes in lengths."""

    sku: str
    role: str
    finish: str | None
    length: int | None
    have: Decimal


@dataclass(frozen=True, slots=True)
class Need:
    """``quantity`` of a component to buy in sale units; ``count`` and ``length`` if it is made to length."""

    sku: str
    role: str
    quantity: Decimal
    length: int | None
    count: int | None
    why: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PurchasePlan:
    """``taken`` is the stock to use by (sku, length) and job; ``weights`` is each job's share of a sku."""

    needs: tuple[Need, ...]
    taken: Mapping[tuple[str, int | None], Decimal]
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
    lengths = [_as_stock(item) for item in on_hand if item.length is not None]
    loose = {item.sku: item for item in on_hand if item.length is None}
    jobs: dict[str, Job] = {
        name: (read_pieces(takeoff), read_quantities(takeoff, market)) for name, takeoff in takeoffs.items()
    }
    offers = offered(market, lengths, kerf, strips)
    found, alone, saving = _bought(jobs, offers)
    if found.missing:
        raise InvalidDocument(
            Fault("/jobs", "supply.missing", f"{item.role} {item.finish or ''} {item.length or ''}: {item.text}.")
            for item in found.missing
        )
    needs, taken = _needs(found, market, loose)
    required: dict[str, Decimal] = {}
    for need in needs:
        required[need.sku] = required.get(need.sku, ZERO) + need.quantity
    sourcing = split(required, market.suppliers, days, max_suppliers, digits=digits)
    return PurchasePlan(tuple(needs), taken, _weights(found, alone), sourcing, saving, found.gap_ppm)


def _bought(jobs: Mapping[str, Job], offers: Offered) -> tuple[Purchase, dict[str, Purchase], Decimal]:
    """Return the common purchase, each job's own purchase, and the saving from combining jobs."""
    if len(jobs) == 1:
        [(name, (pieces, quantities))] = jobs.items()
        found = purchase(pieces, quantities, offers)
        return found, {name: found}, ZERO
    both = consolidate(jobs, offers)
    return both.together, dict(both.alone), both.saving


def _as_stock(one: OnHand) -> StockLengthOption:
    return StockLengthOption(one.sku, one.role, one.finish, one.length or 0, ZERO, have=int(one.have))


def _needs(
    found: Purchase, market: PurchaseOptions, loose: Mapping[str, OnHand]
) -> tuple[list[Need], dict[tuple[str, int | None], Decimal]]:
    by_metre = {article.sku for article in market.articles if article.role in CUT_ROLES and article.length is None}
    needs, taken = list[Need](), dict[tuple[str, int | None], Decimal]()
    for line in found.lines:
        if line.on_hand:
            key = line.sku, line.length
            taken[key] = taken.get(key, ZERO) + line.ordered
            continue
        # packs depend on the supplier chosen later; the plan requests what the job needs
        required = line.net + line.allowance
        spare = loose.get(line.sku)
        use = min(spare.have, required) if spare and line.role not in CUT_ROLES else ZERO
        if use:
            taken[line.sku, None] = taken.get((line.sku, None), ZERO) + use
        if required > use:
            needs.append(_need(line, required - use, line.sku in by_metre))
    return needs, taken


def _need(line: PurchaseLine, required: Decimal, by_metre: bool) -> Need:
    if by_metre and line.length is not None:
        metres = required * line.length / 1000
        return Need(line.sku, line.role, metres, line.length, int(required), line.why)
    return Need(line.sku, line.role, required, line.length, None, line.why)


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
