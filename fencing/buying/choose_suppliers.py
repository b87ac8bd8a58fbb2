"""Choice of suppliers: the cheapest split over suppliers, compared with each supplier alone, and the reasons for it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from fencing.buying.purchase_lines import plain
from fencing.buying.supplier_search import Band, Pick, SplitResult, Task, search
from fencing.buying.suppliers import (
    ChosenQuantity,
    SupplierPrice,
    SupplierSplit,
    SupplierTermsAndPrices,
    in_time,
    levels,
    order_from,
)


@dataclass(frozen=True, slots=True)
class SearchRequest:
    """The search task and its suppliers. ``scale`` converts integer costs to money; amounts below ``ties`` only break ties."""

    task: Task
    suppliers: tuple[SupplierTermsAndPrices, ...]
    scale: int
    ties: int
    digits: int | None = None

    def name(self, supplier: int) -> str:
        return self.suppliers[supplier].name or self.suppliers[supplier].code

    def money(self, parts: int) -> str:
        """Return an integer cost as text in money, with ``digits`` decimals if known."""
        amount = Decimal(parts // self.ties * self.ties) / self.scale
        return plain(amount) if self.digits is None else f"{amount:.{self.digits}f}"

    def refused(self, picks: Sequence[Pick]) -> str:
        """Return the reason why these orders are not possible: a minimum order, or too many suppliers."""
        for supplier in dict.fromkeys(pick.supplier for pick in picks):
            goods = sum(pick.cost for pick in picks if pick.supplier == supplier)
            if self.task.fee(supplier, goods) is None:
                least = self.suppliers[supplier].minimum_order
                return f"{self.name(supplier)} has a minimum order of {plain(least)}"
        return "that needs more suppliers than are allowed"


def why_here(asking: SearchRequest, picks: Sequence[Pick]) -> list[str]:
    """Return a sentence for each pick: the only supplier, the cheapest, or the total if it were bought elsewhere."""
    total = asking.task.charge(picks) or 0
    return [_why(asking, picks, total, need) for need in range(len(picks))]


def _why(asking: SearchRequest, picks: Sequence[Pick], total: int, need: int) -> str:
    pick, elsewhere = picks[need], dict[int, Pick]()
    for other in asking.task.needs[need]:
        if other.supplier != pick.supplier:
            elsewhere.setdefault(other.supplier, other)
    here, ours = asking.name(pick.supplier), asking.money(pick.cost)
    if not elsewhere:
        return f"{here}: the only supplier" if len(asking.suppliers) > 1 else ""
    next_best = min(elsewhere.values())
    there, theirs = asking.name(next_best.supplier), asking.money(next_best.cost)
    if next_best.component != pick.component:
        theirs += f" for {next_best.component}"
    if next_best.cost > pick.cost:
        return f"{here}: {ours}, the cheapest; {there} charges {theirs}"
    prices = f"{here}: {ours}; {there} charges {theirs}"
    instead = [*picks[:need], next_best, *picks[need + 1 :]]
    moved = asking.task.charge(instead)
    if moved is None:
        return f"{prices}, but {asking.refused(instead)}"
    if moved // asking.ties > total // asking.ties:
        more = asking.money((moved // asking.ties - total // asking.ties) * asking.ties)
        return f"{prices}, but with delivery the total would be {more} more"
    return f"{prices}, and the total would be the same; fewer and preferred suppliers come first"


WORK = 400_000
"""Maximum picks to examine before the best split so far is returned: one or two seconds. Most jobs need one per cent of it."""


@dataclass(frozen=True, slots=True)
class Sourcing:
    """Result of the choice. ``best`` is None if no suppliers can deliver everything in time.

    ``alone`` is by supplier; it is None with a reason in ``refused``. ``bound`` is a lower bound of every split's cost; it is
    below the best split's total if the search ended before the proof.
    """

    best: SupplierSplit | None
    alone: Mapping[str, SupplierSplit | None]
    refused: Mapping[str, str]
    unserved: tuple[str, ...]
    bound: Decimal = Decimal(0)

    @property
    def saving(self) -> Decimal | None:
        """Return the saving of the split over the cheapest single supplier, or None without either of them."""
        singles = [split.total for split in self.alone.values() if split is not None]
        return min(singles) - self.best.total if singles and self.best is not None else None

    @property
    def gap(self) -> Decimal:
        """Return the maximum further saving over the best split; 0 if it is proved to be the cheapest."""
        return self.best.total - self.bound if self.best is not None else Decimal(0)


_Way = tuple[Decimal, int, Decimal, str]
"""Cost, index of the supplier, quantity, component."""


@dataclass(frozen=True, slots=True)
class _SupplyRequest:
    """Needs and suppliers in a fixed order. ``ways`` has the components that fit each need, with their amounts."""

    ways: Mapping[str, Mapping[str, Decimal]]
    suppliers: tuple[SupplierTermsAndPrices, ...]
    days: int | None
    most: int | None
    digits: int | None

    def of(self, suppliers: tuple[SupplierTermsAndPrices, ...]) -> _SupplyRequest:
        """Return the same request for these suppliers only."""
        return _SupplyRequest(self.ways, suppliers, self.days, self.most, self.digits)

    def offers(self, index: int) -> dict[str, SupplierPrice]:
        """Return the prices of components that a supplier can deliver in time."""
        supplier = self.suppliers[index]
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
    """Return the cheapest way to buy everything from these suppliers, and the cost of each supplier alone.

    Rules:

    - Each need comes completely from one supplier, in whole packs, at the price break that its quantity reaches. More is
      ordered if that is cheaper.
    - The goods of a supplier reach its minimum order. The delivery fee depends on the goods' value.
    - Components that can't be delivered in time are left out. At most ``max_suppliers`` are used.
    - Of equal costs, fewer suppliers win, then fewer that are not preferred. A need with equal costs comes from a preferred
      supplier, otherwise from the first by code. The order of needs and suppliers in the input has no effect.

    Args:
        wanted: sale units by component [> 0]; or by any name, the sale units of each component that fits the need.
        suppliers: suppliers with their prices.
        days: days until the goods are needed; None: no limit.
        max_suppliers: maximum number of suppliers; None: no limit.
        digits: decimals of each rounded line, halves up; None: lines are not rounded.
        work: maximum picks to examine.

    Returns:
        The best split with its lower bound, each supplier alone or the reason why it can't supply everything, and needs that
        no supplier can deliver in time.

    Source: common practice; exact search in ``fencing.buying.supplier_search``.

    Example:
        >>> from fencing.buying.suppliers import SupplierPrice
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
    request = _SupplyRequest(ways, ranked, days, max_suppliers, digits)
    alone: dict[str, SupplierSplit | None] = {}
    refused: dict[str, str] = {}
    for supplier in suppliers:
        result = _alone(request.of((supplier,)), work)
        alone[supplier.code] = result if isinstance(result, SupplierSplit) else None
        if isinstance(result, str):
            refused[supplier.code] = result
    served = {component for index in range(len(ranked)) for component in request.offers(index)}
    unserved = tuple(need for need, own in ways.items() if not set(own) & served)
    if unserved or not ways:
        return Sourcing(None if unserved else SupplierSplit(()), alone, refused, unserved)
    found = _searched(request, work)
    best, bound = found or (None, Decimal(0))
    # a search that ended early may have missed the cost of a single supplier
    singles = [item for item in alone.values() if item is not None] if best is None or best.total > bound else []
    best = min([*([best] if best else []), *singles], key=lambda item: item.total, default=None)
    return Sourcing(best, alone, refused, (), bound)


def _alone(request: _SupplyRequest, work: int) -> SupplierSplit | str:
    """Return the split with everything from one supplier, or the reason why that is not possible."""
    [supplier] = request.suppliers
    sold, offers = {offer.component for offer in supplier.offers}, request.offers(0)
    lacking = [need for need, own in request.ways.items() if not set(own) & sold]
    if lacking:
        return f"does not sell {', '.join(lacking[:5])}{' and more' if len(lacking) > 5 else ''}"
    late = [need for need, own in request.ways.items() if not set(own) & set(offers)]
    if late:
        return f"can't deliver {', '.join(late[:5])} in time"
    found = _searched(_SupplyRequest(request.ways, request.suppliers, request.days, None, request.digits), work)
    return found[0] if found else f"an order is below the minimum of {plain(supplier.minimum_order)}"


def _searched(request: _SupplyRequest, work: int) -> tuple[SupplierSplit, Decimal] | None:
    """Return the cheapest split and a lower bound of every split's cost."""
    picks = _picks(request)
    scale = _scale(request, picks)
    base = len(request.suppliers) + 1
    ties = base * base
    bands = tuple(_bands(supplier, scale * ties, base) for supplier in request.suppliers)
    task = Task(tuple(tuple(sorted(_whole(own, scale * ties))) for own in picks), bands, request.most)
    found = search(task, work)
    if found is None:
        return None
    whys = why_here(SearchRequest(task, request.suppliers, scale * ties, ties, request.digits), found.picks)
    return _split(request, found, whys), Decimal(found.bound // ties) / scale


def _picks(request: _SupplyRequest) -> list[list[_Way]]:
    """Return every way to buy each need."""
    offers = [request.offers(supplier) for supplier in range(len(request.suppliers))]
    return [
        [
            (cost, index, quantity, component)
            for index, own in enumerate(offers)
            for component, amount in ways.items()
            if component in own
            for quantity, cost in levels(amount, own[component], request.digits)
        ]
        for ways in request.ways.values()
    ]


def _scale(request: _SupplyRequest, picks: Sequence[Sequence[_Way]]) -> int:
    """Return the factor that makes every cost, fee and limit a whole number."""
    amounts = [cost for own in picks for cost, _, _, _ in own]
    for supplier in request.suppliers:
        amounts += [supplier.minimum_order, *(number for pair in supplier.delivery for number in pair)]
    places = max((_places(amount) for amount in amounts), default=0)
    return int(10**places)


def _places(amount: Decimal) -> int:
    exponent = amount.as_tuple().exponent
    return max(0, -exponent) if isinstance(exponent, int) else 0


def _whole(own: Sequence[_Way], scale: int) -> list[Pick]:
    return [Pick(int(cost * scale), supplier, quantity, component) for cost, supplier, quantity, component in own]


def _bands(supplier: SupplierTermsAndPrices, scale: int, base: int) -> tuple[Band, ...]:
    """Return the supplier's fees by goods' value, from its minimum order on.

    Each fee includes a part below ``base`` squared that counts the supplier and its rank.
    """
    starts = [(start, fee) for start, fee in supplier.delivery if start > 0]
    rows = [(Decimal(0), supplier.fee(Decimal(0))), *starts]
    count = base + (0 if supplier.preferred else 1)
    bands = []
    for index, (start, fee) in enumerate(rows):
        higher = [later for later, other in rows[index + 1 :] if other > fee]
        least, below = max(start, supplier.minimum_order), min(higher, default=None)
        if below is None or least < below:
            end = None if below is None else int(below * scale)
            bands.append(Band(int(fee * scale) + count, int(least * scale), end))
    return tuple(band for band in bands if not any(_is_better(other, band) for other in bands))


def _is_better(band: Band, other: Band) -> bool:
    """Return whether a band covers everything that the other covers, with a lower fee."""
    reaches = band.below is None or (other.below is not None and band.below >= other.below)
    return band.fee < other.fee and band.least <= other.least and reaches


def _split(request: _SupplyRequest, found: SplitResult, whys: Sequence[str]) -> SupplierSplit:
    chosen: dict[int, list[ChosenQuantity]] = {}
    for (need, ways), pick, why in zip(request.ways.items(), found.picks, whys, strict=True):
        quantity = ChosenQuantity(need, pick.component, ways[pick.component], pick.quantity, why)
        chosen.setdefault(pick.supplier, []).append(quantity)
    orders = {
        supplier: order_from(request.suppliers[supplier], own, request.digits) for supplier, own in chosen.items()
    }
    return SupplierSplit(tuple(sorted(orders.values(), key=lambda order: order.supplier)))
