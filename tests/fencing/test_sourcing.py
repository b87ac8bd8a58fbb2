"""The cheapest split over suppliers, against trying every one."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import ROUND_CEILING, Decimal
from itertools import product
from random import Random

import pytest

from fencing.offers import Offer, Supplier
from fencing.sourcing import split

D = Decimal
Case = tuple[dict[str, Decimal], tuple[Supplier, ...], int | None, int | None]


def random_case(seed: int) -> Case:
    random = Random(seed)  # noqa: S311 - invented offers, not secrets
    components = [f"c{place}" for place in range(random.randint(1, 3))]
    suppliers = []
    for place in range(random.randint(1, 3)):
        offers = []
        for component in components:
            price = D(random.randint(5, 60)) / 10
            lower = ((D(random.randint(5, 20)), price - D(random.randint(1, 4)) / 10),)
            breaks = lower if random.random() < 0.5 else ()
            pack, least, lead = D(random.choice((1, 1, 5))), D(random.choice((0, 0, 8))), random.choice((None, None, 9))
            if random.random() < 0.8:
                offers.append(Offer(component, price, breaks, pack, least, lead))
        flat = ((D(0), D(random.randint(1, 20))),)
        falling = ((D(0), D(random.randint(5, 20))), (D(random.randint(20, 60)), D(random.randint(0, 4))))
        delivery = random.choice(((), flat, falling))
        least_order = D(random.choice((0, 0, 15, 40)))
        suppliers.append(Supplier(f"s{place}", tuple(offers), least_order, delivery, random.randint(0, 6), place == 0))
    wanted = {component: D(random.randint(1, 18)) for component in components}
    return wanted, tuple(suppliers), random.choice((None, 5)), random.choice((None, 1, 2))


def choices(wanted: Decimal, name: str, suppliers: Sequence[Supplier], days: int | None) -> list[tuple[int, Decimal]]:
    """(supplier, cost) of every way to buy one component."""
    found = []
    for place, supplier in enumerate(suppliers):
        for offer in supplier.offers:
            lead = supplier.lead if offer.lead is None else offer.lead
            if offer.component != name or (days is not None and lead > days):
                continue
            for amount in (wanted, *(start for start, _ in offer.breaks if start > wanted)):
                packs = (max(amount, offer.least) / offer.pack).to_integral_value(ROUND_CEILING)
                quantity = packs * offer.pack
                price = ([offer.price] + [price for start, price in offer.breaks if quantity >= start])[-1]
                found.append((place, quantity * price))
    return found


def least(
    wanted: Mapping[str, Decimal], suppliers: Sequence[Supplier], days: int | None, most: int | None
) -> Decimal | None:
    """The least total of all ways."""
    totals = []
    for picked in product(*(choices(amount, name, suppliers, days) for name, amount in wanted.items())):
        goods: dict[int, Decimal] = {}
        for place, cost in picked:
            goods[place] = goods.get(place, D(0)) + cost
        too_many = most is not None and len(goods) > most
        if too_many or any(value < suppliers[place].least_order for place, value in goods.items()):
            continue
        fees = [
            ([D(0)] + [fee for start, fee in suppliers[place].delivery if value >= start])[-1]
            for place, value in goods.items()
        ]
        totals.append(sum(goods.values(), D(0)) + sum(fees, D(0)))
    return min(totals, default=None)


@pytest.mark.parametrize("block", range(8))
def test_the_split_costs_what_trying_everything_costs(block: int) -> None:
    for seed in range(block * 50, block * 50 + 50):
        case = random_case(seed)
        found = split(*case)
        assert (found.best.total if found.best else None) == least(*case), seed


def test_a_break_is_reached_by_ordering_more_where_that_is_cheaper() -> None:
    # 95 at 2.00 cost 190; 100 at 1.50 cost 150
    found = split({"screw": D(95)}, [Supplier("s", (Offer("screw", D(2), ((D(100), D("1.50")),)),))])
    assert found.best is not None
    assert (found.best.total, found.best.orders[0].lines[0].ordered) == (D(150), D(100))


def test_a_second_delivery_is_paid_only_where_it_pays() -> None:
    near = Supplier("near", (Offer("rail", D(20)), Offer("post", D(30))), delivery=((D(0), D(40)),))
    far = Supplier("far", (Offer("rail", D(18)),), delivery=((D(0), D(25)),))
    # 10 rails: 20 saved, 25 more for delivery. 20 rails: 40 saved
    one, two = (split({"rail": D(count), "post": D(4)}, (near, far)) for count in (10, 20))
    assert one.best is not None
    assert two.best is not None
    assert ([order.supplier for order in one.best.orders], one.best.total) == (["near"], D(10 * 20 + 4 * 30 + 40))
    assert [order.supplier for order in two.best.orders] == ["near", "far"]
    assert two.saving == 20 * 2 - 25


def test_what_comes_too_late_is_left_out_and_the_reason_is_told() -> None:
    slow = Supplier("slow", (Offer("rail", D(10)),), lead=14)
    quick = Supplier("quick", (Offer("rail", D(12)),), lead=2)
    found = split({"rail": D(5)}, (slow, quick), days=7)
    assert found.best is not None
    assert (found.best.total, found.best.orders[0].ready_in) == (D(60), 2)
    assert found.refused == {"slow": "can't bring rail in time"}


def test_at_most_so_many_suppliers_are_used() -> None:
    one = Supplier("one", (Offer("rail", D(10)), Offer("post", D(30))))
    two = Supplier("two", (Offer("post", D(20)),))
    wanted = {"rail": D(1), "post": D(1)}
    assert [split(wanted, (one, two), most_suppliers=most).best.total for most in (1, 2)] == [40, 30]  # type: ignore[union-attr]


def test_an_order_under_the_least_is_not_placed() -> None:
    found = split({"rail": D(1)}, (Supplier("s", (Offer("rail", D(10)),), least_order=D(50)),))
    assert (found.best, found.refused) == (None, {"s": "an order is under the least of 50"})


def test_what_nobody_sells_is_named() -> None:
    found = split({"rail": D(1), "moon": D(1)}, (Supplier("s", (Offer("rail", D(10)),)),))
    assert (found.best, found.unserved) == (None, ("moon",))
