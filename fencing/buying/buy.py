"""Purchase over suppliers: stock lengths, components, packs and suppliers for the needs of a job, by a policy."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import lru_cache

from fencing.buying.choose_suppliers import Sourcing, split
from fencing.buying.needs import BuyingPolicy, Need, Needs
from fencing.buying.purchase import purchase
from fencing.buying.purchase_lines import Missing, Purchase, PurchaseLine
from fencing.buying.stock_options import OnHand, stock_options
from fencing.buying.suppliers import PurchaseOptions, SupplierSplit, SupplierTermsAndPrices
from fencing.cutting import plan_cuts
from fencing.model.roles import CUT_ROLES

ZERO = Decimal(0)
Stock = tuple[str, int | None]
"""Component and length [mm]."""


@dataclass(frozen=True, slots=True)
class PurchaseResult:
    """Result of a purchase. ``taken`` is what is used from stock; ``short`` are suppliers below their minimum order.

    If something is ``missing``, no suppliers are chosen.
    """

    purchase: Purchase
    needs: tuple[Need, ...]
    taken: Mapping[Stock, Decimal]
    sourcing: Sourcing
    short: tuple[str, ...] = ()

    @property
    def missing(self) -> tuple[Missing, ...]:
        """Return the items that no supplier sells."""
        return self.purchase.missing


@dataclass(frozen=True, slots=True)
class OrderLimits:
    """Days until the goods are needed, the maximum number of suppliers (None: no limit), and the decimals of money."""

    days: int | None = None
    max_suppliers: int | None = None
    digits: int = 2


def buy(
    needed: Needs,
    options: PurchaseOptions,
    policy: BuyingPolicy,
    on_hand: Sequence[OnHand] = (),
    limits: OrderLimits = OrderLimits(),
) -> PurchaseResult:
    """Return the cheapest purchase of everything that is needed.

    Rule: stock lengths are chosen by the lowest price of each, and by the policy again at each supplier's own prices. Stock on
    hand is used first. The list with the cheapest split over suppliers is bought, the first of equal ones.

    Args:
        needed: pieces [mm] and quantities.
        options: components and suppliers of the day.
        policy: rules of a quote or of an order.
        on_hand: stock that may be used.
        limits: delivery time [days], number of suppliers, decimals.

    Returns:
        Cutting plans, needs, stock used, and orders by supplier; or what is missing.

    Source: house rule.

    Example:
        >>> from fencing.buying.needs import ORDER_POLICY
        >>> from fencing.buying.suppliers import Article, SupplierPrice
        >>> from fencing.model.fence import Piece
        >>> rails = Needs((Piece("rail", None, None, 2238, None, 4, ()),), (), kerf=3)
        >>> bar = Article("R6", "Rail", "rail", None, 6000, None, "C62", None, "")
        >>> near = SupplierTermsAndPrices("near", (SupplierPrice("R6", Decimal(31)),), delivery=((ZERO, Decimal(40)),))
        >>> found = buy(rails, PurchaseOptions((bar,), (near,)), ORDER_POLICY)
        >>> [(need.name, str(need.quantity)) for need in found.needs], str(found.sourcing.best.total)
        ([('R6', '2')], '102.00')
    """
    plan = lru_cache(maxsize=None)(plan_cuts)
    lengths = [item for item in on_hand if item.length is not None]
    loose = {item.sku: item for item in on_hand if item.length is None}
    lowest = stock_options(options, needed, policy, lengths)
    first = purchase(needed, lowest, policy, plan=plan)
    if first.missing:
        return PurchaseResult(first, (), {}, Sourcing(None, {}, {}, ()))
    tried: list[PurchaseResult] = []
    codes = [supplier.code for supplier in options.suppliers] if len(options.suppliers) <= policy.own_lengths else []
    for code in (None, *codes):
        own = stock_options(options, needed, policy, lengths, code)
        bought = first if code is None else purchase(needed, own, policy, lowest, plan)
        goods, taken = _list_needs(bought, options, policy, loose)
        if all(goods != other.needs for other in tried):
            tried.append(PurchaseResult(bought, goods, taken, _choose_split(goods, options.suppliers, limits)))
    best = min(
        tried,
        key=lambda result: (result.sourcing.best is None, result.sourcing.best.total if result.sourcing.best else 0),
    )
    alone = {
        supplier.code: _find_least([result.sourcing.alone[supplier.code] for result in tried])
        for supplier in options.suppliers
    }
    best = replace(best, sourcing=replace(best.sourcing, alone=alone))
    return best if best.sourcing.best or not policy.below_minimum else _ignore_minimums(best, options, limits)


def _find_least(splits: Sequence[SupplierSplit | None]) -> SupplierSplit | None:
    return min((split for split in splits if split is not None), key=lambda item: item.total, default=None)


def _choose_split(goods: Sequence[Need], suppliers: Sequence[SupplierTermsAndPrices], limits: OrderLimits) -> Sourcing:
    """Choose the suppliers; needs of equal names are added up."""
    required: dict[str, dict[str, Decimal]] = {}
    for need in goods:
        ways = required.setdefault(need.name, {})
        for sku, amount in need.ways.items():
            ways[sku] = ways.get(sku, ZERO) + amount
    return split(required, suppliers, limits.days, limits.max_suppliers, digits=limits.digits)


def _ignore_minimums(bought: PurchaseResult, options: PurchaseOptions, limits: OrderLimits) -> PurchaseResult:
    eased = [replace(supplier, minimum_order=ZERO) for supplier in options.suppliers]
    sourcing = _choose_split(bought.needs, eased, limits)
    orders = sourcing.best.orders if sourcing.best else ()
    short = [order.supplier for order in orders if order.goods < options.supplier(order.supplier).minimum_order]
    sourcing = replace(sourcing, alone=bought.sourcing.alone, refused=bought.sourcing.refused)
    return replace(bought, sourcing=sourcing, short=tuple(short))


def _list_needs(
    bought: Purchase, options: PurchaseOptions, policy: BuyingPolicy, loose: Mapping[str, OnHand]
) -> tuple[tuple[Need, ...], dict[Stock, Decimal]]:
    """Return what is to be bought, and what is used from stock. Packs depend on the supplier, so they come later."""
    goods, taken = list[Need](), dict[Stock, Decimal]()
    for line in bought.lines:
        if line.on_hand:
            key = line.sku, line.length
            taken[key] = taken.get(key, ZERO) + line.ordered
            continue
        required = line.net + line.allowance
        spare = loose.get(line.sku)
        use = min(spare.have, required) if spare and line.role not in CUT_ROLES else ZERO
        if use:
            taken[line.sku, None] = taken.get((line.sku, None), ZERO) + use
        if required > use:
            goods.append(_build_need(line, required - use, options, policy))
    return tuple(goods), taken


def _build_need(line: PurchaseLine, required: Decimal, options: PurchaseOptions, policy: BuyingPolicy) -> Need:
    made = [item.sku for item in options.sold(line.role, line.finish) if item.length is None]
    if line.role in CUT_ROLES and line.sku in made and line.length is not None:
        metres = required * line.length / 1000
        skus = made if policy.any_component else [line.sku]
        return Need(line.role, line.finish, dict.fromkeys(skus, metres), line.length, int(required), line.why)
    ways = line.ways if policy.any_component and line.ways else {line.sku: required}
    return Need(line.role, line.finish, ways, line.length, None, line.why)
