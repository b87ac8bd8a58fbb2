"""Choice of suppliers: the cheapest split over suppliers, compared with each supplier alone, and the reasons for it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from fencing.buying.purchase_lines import plain
from fencing.buying.supplier_search import Band, Pick, SplitResult, Task, search
from fencing.buying.suppliers import (
    ChosenQuantity,
    SupplierPrice,
    SupplierSplit,
    SupplierTermsAndPrices,
    build_order,
    is_in_time,
    list_quantities,
)
from fencing.model.rounding import count_decimals


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


def explain_picks(request: SearchRequest, picks: Sequence[Pick]) -> list[str]:
    """Return a sentence for each pick: the only supplier, the cheapest, or the total if it were bought elsewhere."""
    total = request.task.charge(picks) or 0
    return [_explain_pick(request, picks, total, need) for need in range(len(picks))]


def _explain_pick(request: SearchRequest, picks: Sequence[Pick], total: int, need: int) -> str:
    pick, elsewhere = picks[need], dict[int, Pick]()
    for other in request.task.needs[need]:
        if other.supplier != pick.supplier:
            elsewhere.setdefault(other.supplier, other)
    own_name, own_price = request.name(pick.supplier), request.money(pick.cost)
    if not elsewhere:
        return f"{own_name}: the only supplier" if len(request.suppliers) > 1 else ""
    next_best = min(elsewhere.values())
    other_name, other_price = request.name(next_best.supplier), request.money(next_best.cost)
    if next_best.component != pick.component:
        other_price += f" for {next_best.component}"
    if next_best.cost > pick.cost:
        return f"{own_name}: {own_price}, the cheapest; {other_name} charges {other_price}"
    prices = f"{own_name}: {own_price}; {other_name} charges {other_price}"
    instead = [*picks[:need], next_best, *picks[need + 1 :]]
    moved = request.task.charge(instead)
    if moved is None:
        return f"{prices}, but {request.refused(instead)}"
    if moved // request.ties > total // request.ties:
        more = request.money((moved // request.ties - total // request.ties) * request.ties)
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

    def offers(self, index: int) -> dict[str, SupplierPrice]:
        """Return the prices of components that a supplier can deliver in time."""
        supplier = self.suppliers[index]
        return {offer.component: offer for offer in supplier.offers if is_in_time(supplier, offer, self.days)}


def split(
    needed: Mapping[str, Decimal | Mapping[str, Decimal]],
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
        needed: sale units by component [> 0]; or by any name, the sale units of each component that fits the need.
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
    named = {need: {need: own} if isinstance(own, Decimal) else own for need, own in sorted(needed.items())}
    ways = {need: own for need, own in named.items() if any(own.values())}
    ranked = tuple(sorted(suppliers, key=lambda item: (not item.preferred, item.code)))
    request = _SupplyRequest(ways, ranked, days, max_suppliers, digits)
    alone: dict[str, SupplierSplit | None] = {}
    refused: dict[str, str] = {}
    for supplier in suppliers:
        result = _buy_alone(replace(request, suppliers=(supplier,)), work)
        alone[supplier.code] = result if isinstance(result, SupplierSplit) else None
        if isinstance(result, str):
            refused[supplier.code] = result
    served = {component for index in range(len(ranked)) for component in request.offers(index)}
    unserved = tuple(need for need, own in ways.items() if not set(own) & served)
    if unserved or not ways:
        return Sourcing(None if unserved else SupplierSplit(()), alone, refused, unserved)
    cheapest = _search_split(request, work)
    best, bound = cheapest or (None, Decimal(0))
    # a search that ended early may have missed the cost of a single supplier
    singles = [item for item in alone.values() if item is not None] if best is None or best.total > bound else []
    best = min([*([best] if best else []), *singles], key=lambda item: item.total, default=None)
    return Sourcing(best, alone, refused, (), bound)


def _buy_alone(request: _SupplyRequest, work: int) -> SupplierSplit | str:
    """Return the split with everything from one supplier, or the reason why that is not possible."""
    [supplier] = request.suppliers
    sold, offers = {offer.component for offer in supplier.offers}, request.offers(0)
    lacking = [need for need, own in request.ways.items() if not set(own) & sold]
    if lacking:
        return f"does not sell {', '.join(lacking[:5])}{' and more' if len(lacking) > 5 else ''}"
    late = [need for need, own in request.ways.items() if not set(own) & set(offers)]
    if late:
        return f"can't deliver {', '.join(late[:5])} in time"
    cheapest = _search_split(replace(request, most=None), work)
    return cheapest[0] if cheapest else f"an order is below the minimum of {plain(supplier.minimum_order)}"


def _search_split(request: _SupplyRequest, work: int) -> tuple[SupplierSplit, Decimal] | None:
    """Return the cheapest split and a lower bound of every split's cost."""
    picks = _list_picks(request)
    scale = _find_scale(request, picks)
    base = len(request.suppliers) + 1
    ties = base * base
    bands = tuple(_build_bands(supplier, scale * ties, base) for supplier in request.suppliers)
    task = Task(tuple(tuple(sorted(_build_picks(own, scale * ties))) for own in picks), bands, request.most)
    result = search(task, work)
    if result is None:
        return None
    whys = explain_picks(SearchRequest(task, request.suppliers, scale * ties, ties, request.digits), result.picks)
    return _build_split(request, result, whys), Decimal(result.bound // ties) / scale


def _list_picks(request: _SupplyRequest) -> list[list[_Way]]:
    """Return every way to buy each need."""
    offers = [request.offers(supplier) for supplier in range(len(request.suppliers))]
    return [
        [
            (cost, index, quantity, component)
            for index, own in enumerate(offers)
            for component, amount in ways.items()
            if component in own
            for quantity, cost in list_quantities(amount, own[component], request.digits)
        ]
        for ways in request.ways.values()
    ]


def _find_scale(request: _SupplyRequest, picks: Sequence[Sequence[_Way]]) -> int:
    """Return the factor that makes every cost, fee and limit a whole number."""
    amounts = [cost for own in picks for cost, _, _, _ in own]
    for supplier in request.suppliers:
        amounts += [supplier.minimum_order, *(number for pair in supplier.delivery for number in pair)]
    return int(10 ** count_decimals(amounts))


def _build_picks(own: Sequence[_Way], scale: int) -> list[Pick]:
    return [Pick(int(cost * scale), supplier, quantity, component) for cost, supplier, quantity, component in own]


def _build_bands(supplier: SupplierTermsAndPrices, scale: int, base: int) -> tuple[Band, ...]:
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


def _build_split(request: _SupplyRequest, result: SplitResult, whys: Sequence[str]) -> SupplierSplit:
    chosen: dict[int, list[ChosenQuantity]] = {}
    for (need, ways), pick, why in zip(request.ways.items(), result.picks, whys, strict=True):
        quantity = ChosenQuantity(need, pick.component, ways[pick.component], pick.quantity, why)
        chosen.setdefault(pick.supplier, []).append(quantity)
    orders = {
        supplier: build_order(request.suppliers[supplier], own, request.digits) for supplier, own in chosen.items()
    }
    return SupplierSplit(tuple(sorted(orders.values(), key=lambda order: order.supplier)))
