"""Who to buy from: the cheapest split over suppliers, beside everything from one of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from fencing.buying.packs import plain
from fencing.buying.supplier_prices import (
    ChosenQuantity,
    SupplierPrice,
    SupplierSplit,
    SupplierTermsAndPrices,
    in_time,
    levels,
    order_from,
)
from fencing.buying.supplier_reasons import SearchRequest, why_here
from fencing.buying.supplier_search import Band, Pick, SplitResult, Task, search

WORK = 400_000
"""Ways to buy a need that are looked at before the best so far is taken: a second or two; most jobs take a hundredth of it."""


@dataclass(frozen=True, slots=True)
class Sourcing:
    """``best`` None: no suppliers can serve it all in time. ``alone`` by supplier, None with the reason in ``refused``.

    ``bound`` is what no split can cost less than; under the best split's total where the search ended before it was proved.
    """

    best: SupplierSplit | None
    alone: Mapping[str, SupplierSplit | None]
    refused: Mapping[str, str]
    unserved: tuple[str, ...]
    bound: Decimal = Decimal(0)

    @property
    def saving(self) -> Decimal | None:
        """What the split saves against the cheapest single supplier; None without either."""
        singles = [split.total for split in self.alone.values() if split is not None]
        return min(singles) - self.best.total if singles and self.best is not None else None

    @property
    def gap(self) -> Decimal:
        """By how much a split might be cheaper than the best one found; 0 where it is proved that none is."""
        return self.best.total - self.bound if self.best is not None else Decimal(0)


_Way = tuple[Decimal, int, Decimal, str]
"""Cost, place of the supplier, quantity, component."""


@dataclass(frozen=True, slots=True)
class _SupplyRequest:
    """``ways`` by need: the components that serve it and how much of each. Needs and suppliers in their one order."""

    ways: Mapping[str, Mapping[str, Decimal]]
    suppliers: tuple[SupplierTermsAndPrices, ...]
    days: int | None
    most: int | None
    digits: int | None

    def of(self, suppliers: tuple[SupplierTermsAndPrices, ...]) -> _SupplyRequest:
        """The same, asked of these alone."""
        return _SupplyRequest(self.ways, suppliers, self.days, self.most, self.digits)

    def offers(self, place: int) -> dict[str, SupplierPrice]:
        """What a supplier can bring in time."""
        supplier = self.suppliers[place]
        return {offer.component: offer for offer in supplier.offers if in_time(supplier, offer, self.days)}


def split(
    wanted: Mapping[str, Decimal | Mapping[str, Decimal]],
    suppliers: Sequence[SupplierTermsAndPrices],
    days: int | None = None,
    max_suppliers: int | None = None,
    *,
    digits: int | None = None,
    work: int = WORK,
) -> Sourcing:
    """The cheapest way to buy everything from these suppliers, beside everything from each of them alone.

    Rule: each need comes whole from one supplier, in whole packs, at the break its quantity reaches (more is ordered where
    that is cheaper); goods of a supplier reach its least order; delivery follows the goods' value; what can't be there in time is
    left out; at most ``max_suppliers`` are used. Of equal costs the fewer suppliers, then the fewer that are not preferred; a
    need that costs the same at several comes from a preferred one, otherwise from the first by code. The order in which needs
    and suppliers are given changes nothing.

    Args:
        wanted: sale units by component [> 0]; or by any name, the sale units of each component that would serve.
        suppliers: with their offers.
        days: days until it is needed; None: no hurry.
        max_suppliers: None: no limit.
        digits: decimals to which each line is rounded, halves up, before it is counted; None: not rounded.
        work: ways to buy a need to look at, at most.

    Returns:
        The best split with the bound that proves it (or says how far it may be off), each supplier alone, why one alone will not
        do, and components nobody serves.

    Source: common practice; searched exactly (``fencing.buying.supplier_search``).

    Example:
        >>> from fencing.buying.supplier_prices import SupplierPrice
        >>> rail, screw = SupplierPrice("rail", Decimal(20)), SupplierPrice("screw", Decimal("0.10"))
        >>> near = SupplierTermsAndPrices("near", (rail, screw), delivery=((Decimal(0), Decimal(40)),))
        >>> far = SupplierTermsAndPrices("far", (SupplierPrice("rail", Decimal(15)),), delivery=((Decimal(0), Decimal(90)),))
        >>> found = split({"rail": Decimal(40), "screw": Decimal(500)}, (near, far))
        >>> [(order.supplier, str(order.total)) for order in found.best.orders], str(found.saving), found.gap == 0
        ([('far', '690'), ('near', '90.00')], '110.00', True)
    """
    named = {need: {need: own} if isinstance(own, Decimal) else own for need, own in sorted(wanted.items())}
    ways = {need: own for need, own in named.items() if any(own.values())}
    ranked = tuple(sorted(suppliers, key=lambda item: (not item.preferred, item.code)))
    asked = _SupplyRequest(ways, ranked, days, max_suppliers, digits)
    alone: dict[str, SupplierSplit | None] = {}
    refused: dict[str, str] = {}
    for supplier in suppliers:
        answer = _alone(asked.of((supplier,)), work)
        alone[supplier.code] = answer if isinstance(answer, SupplierSplit) else None
        if isinstance(answer, str):
            refused[supplier.code] = answer
    served = {component for place in range(len(ranked)) for component in asked.offers(place)}
    unserved = tuple(need for need, own in ways.items() if not set(own) & served)
    if unserved or not ways:
        return Sourcing(None if unserved else SupplierSplit(()), alone, refused, unserved)
    found = _searched(asked, work)
    best, bound = found or (None, Decimal(0))
    # a search that was cut short may not have come by what one supplier alone asks
    singles = [item for item in alone.values() if item is not None] if best is None or best.total > bound else []
    best = min([*([best] if best else []), *singles], key=lambda item: item.total, default=None)
    return Sourcing(best, alone, refused, (), bound)


def _alone(asked: _SupplyRequest, work: int) -> SupplierSplit | str:
    """Everything from one supplier, or why not."""
    [supplier] = asked.suppliers
    sold, offers = {offer.component for offer in supplier.offers}, asked.offers(0)
    lacking = [need for need, own in asked.ways.items() if not set(own) & sold]
    if lacking:
        return f"does not sell {', '.join(lacking[:5])}{' and more' if len(lacking) > 5 else ''}"
    late = [need for need, own in asked.ways.items() if not set(own) & set(offers)]
    if late:
        return f"can't bring {', '.join(late[:5])} in time"
    found = _searched(_SupplyRequest(asked.ways, asked.suppliers, asked.days, None, asked.digits), work)
    return found[0] if found else f"an order is under the least of {plain(supplier.minimum_order)}"


def _searched(asked: _SupplyRequest, work: int) -> tuple[SupplierSplit, Decimal] | None:
    """The cheapest split and what none can be under."""
    picks = _picks(asked)
    scale = _scale(asked, picks)
    base = len(asked.suppliers) + 1
    ties = base * base
    bands = tuple(_bands(supplier, scale * ties, base) for supplier in asked.suppliers)
    task = Task(tuple(tuple(sorted(_whole(own, scale * ties))) for own in picks), bands, asked.most)
    found = search(task, work)
    if found is None:
        return None
    whys = why_here(SearchRequest(task, asked.suppliers, scale * ties, ties, asked.digits), found.picks)
    return _split(asked, found, whys), Decimal(found.bound // ties) / scale


def _picks(asked: _SupplyRequest) -> list[list[_Way]]:
    """Every way to buy each need."""
    offers = [asked.offers(place) for place in range(len(asked.suppliers))]
    return [
        [
            (cost, place, quantity, component)
            for place, own in enumerate(offers)
            for component, amount in ways.items()
            if component in own
            for quantity, cost in levels(amount, own[component], asked.digits)
        ]
        for ways in asked.ways.values()
    ]


def _scale(asked: _SupplyRequest, picks: Sequence[Sequence[_Way]]) -> int:
    """So many parts of the unit of money make every cost, fee and limit a whole number."""
    amounts = [cost for own in picks for cost, _, _, _ in own]
    for supplier in asked.suppliers:
        amounts += [supplier.minimum_order, *(number for pair in supplier.delivery for number in pair)]
    places = max((_places(amount) for amount in amounts), default=0)
    return int(10**places)


def _places(amount: Decimal) -> int:
    exponent = amount.as_tuple().exponent
    return max(0, -exponent) if isinstance(exponent, int) else 0


def _whole(own: Sequence[_Way], scale: int) -> list[Pick]:
    return [Pick(int(cost * scale), place, quantity, component) for cost, place, quantity, component in own]


def _bands(supplier: SupplierTermsAndPrices, scale: int, base: int) -> tuple[Band, ...]:
    """The supplier's fees by goods' value, from its least order on; what is under ``base`` squared counts it and its rank."""
    starts = [(start, fee) for start, fee in supplier.delivery if start > 0]
    rows = [(Decimal(0), supplier.fee(Decimal(0))), *starts]
    count = base + (0 if supplier.preferred else 1)
    bands = []
    for place, (start, fee) in enumerate(rows):
        higher = [later for later, other in rows[place + 1 :] if other > fee]
        least, below = max(start, supplier.minimum_order), min(higher, default=None)
        if below is None or least < below:
            end = None if below is None else int(below * scale)
            bands.append(Band(int(fee * scale) + count, int(least * scale), end))
    return tuple(band for band in bands if not any(_is_better(other, band) for other in bands))


def _is_better(one: Band, other: Band) -> bool:
    """Whether a band serves wherever the other does, for less."""
    reaches = one.below is None or (other.below is not None and one.below >= other.below)
    return one.fee < other.fee and one.least <= other.least and reaches


def _split(asked: _SupplyRequest, found: SplitResult, whys: Sequence[str]) -> SupplierSplit:
    chosen: dict[int, list[ChosenQuantity]] = {}
    for (need, ways), pick, why in zip(asked.ways.items(), found.picks, whys, strict=True):
        one = ChosenQuantity(need, pick.component, ways[pick.component], pick.quantity, why)
        chosen.setdefault(pick.supplier, []).append(one)
    orders = {place: order_from(asked.suppliers[place], own, asked.digits) for place, own in chosen.items()}
    return SupplierSplit(tuple(sorted(orders.values(), key=lambda order: order.supplier)))
