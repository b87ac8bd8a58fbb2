"""Who to buy from: the cheapest split over suppliers, beside everything from one of them.

A whole-number programme on HiGHS finds the split; what it answers is counted again in exact decimals before anybody sees it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from fencing.offers import Split, Supplier, in_time


@dataclass(frozen=True, slots=True)
class Sourcing:
    """``best`` None: no suppliers can serve it all in time. ``alone`` by supplier, None with the reason in ``refused``."""

    best: Split | None
    alone: Mapping[str, Split | None]
    refused: Mapping[str, str]
    unserved: tuple[str, ...]

    @property
    def saving(self) -> Decimal | None:
        """What the split saves against the cheapest single supplier; None without either."""
        singles = [split.total for split in self.alone.values() if split is not None]
        return min(singles) - self.best.total if singles and self.best is not None else None


def split(
    wanted: Mapping[str, Decimal],
    suppliers: Sequence[Supplier],
    days: int | None = None,
    most_suppliers: int | None = None,
) -> Sourcing:
    """The cheapest way to buy everything from these suppliers, beside everything from each of them alone.

    Rule: each component comes whole from one supplier, in whole packs, at the break its quantity reaches (more is ordered where
    that is cheaper); goods of a supplier reach its least order; delivery follows the goods' value; what can't be there in time is
    left out; at most ``most_suppliers`` are used. Of equal costs the fewer suppliers, then the preferred ones.

    Args:
        wanted: sale units by component [> 0].
        suppliers: with their offers.
        days: days until it is needed; None: no hurry.
        most_suppliers: None: no limit.

    Returns:
        The best split, each supplier alone, why one alone will not do, and components nobody serves.

    Source: common practice; solved with HiGHS, counted again exactly.

    Example:
        >>> from fencing.offers import Offer
        >>> rail, screw = Offer("rail", Decimal(20)), Offer("screw", Decimal("0.10"))
        >>> near = Supplier("near", (rail, screw), delivery=((Decimal(0), Decimal(40)),))
        >>> far = Supplier("far", (Offer("rail", Decimal(15)),), delivery=((Decimal(0), Decimal(90)),))
        >>> found = split({"rail": Decimal(40), "screw": Decimal(500)}, (near, far))
        >>> [(order.supplier, str(order.total)) for order in found.best.orders], str(found.saving)
        ([('near', '90.00'), ('far', '690')], '110.00')
    """
    asked = {component: amount for component, amount in wanted.items() if amount > 0}
    served = {offer.component for one in suppliers for offer in one.offers if in_time(one, offer, days)}
    unserved = tuple(sorted(set(asked) - served))
    alone: dict[str, Split | None] = {}
    refused: dict[str, str] = {}
    for supplier in suppliers:
        answer = _alone(asked, supplier, days)
        alone[supplier.code] = answer if isinstance(answer, Split) else None
        if isinstance(answer, str):
            refused[supplier.code] = answer
    if unserved or not asked:
        return Sourcing(None if unserved else Split(()), alone, refused, unserved)
    # here and not at the top: the solver takes half a second to load, and not every asker gets this far
    from fencing.splitting import cheapest_split

    singles = [one for one in alone.values() if one is not None] if most_suppliers != 0 else []
    found = cheapest_split(asked, suppliers, days, most_suppliers)
    best = min([*singles, *([found] if found else [])], key=lambda one: (one.total, len(one.orders)), default=None)
    return Sourcing(best, alone, refused, ())


def _alone(wanted: Mapping[str, Decimal], supplier: Supplier, days: int | None) -> Split | str:
    """Everything from one supplier, or why not."""
    offers = {offer.component: offer for offer in supplier.offers}
    lacking = sorted(set(wanted) - set(offers))
    if lacking:
        return f"does not sell {', '.join(lacking[:5])}{' and more' if len(lacking) > 5 else ''}"
    late = sorted(name for name in wanted if not in_time(supplier, offers[name], days))
    if late:
        return f"can't bring {', '.join(late[:5])} in time"
    from fencing.splitting import cheapest_split

    found = cheapest_split(wanted, (supplier,), days, None)
    return found or f"an order is under the least of {supplier.least_order}"
