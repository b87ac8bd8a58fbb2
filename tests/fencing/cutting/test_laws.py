"""Laws of a plan's cost: changes that must not change it or may only lower it; and a second, separate solver."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fencing.cutting import Demand, Status, StockLength, read_demand_document
from tests.benchmarks.fence_orders import BAYS_20, SMALL, order
from tests.fencing.cutting.arc_flow import arc_flow
from tests.fencing.cutting.orders import checked, cost_or_none, tiny

SEEDS = range(40)


def cost(asked: Demand) -> int | None:
    return cost_or_none(checked(asked))


@pytest.mark.parametrize("seed", SEEDS)
def test_the_order_of_rows_and_the_unit_of_length_or_money_change_nothing(seed: int) -> None:
    asked = tiny(seed)
    before = cost(asked)
    assert cost(replace(asked, stock=asked.stock[::-1])) == before
    longer = [replace(item, length=7 * item.length, trim=7 * item.trim, keep=7 * item.keep) for item in asked.stock]
    pieces = tuple((7 * length, count) for length, count in asked.pieces)
    assert cost(replace(asked, kerf=7 * asked.kerf, pieces=pieces, stock=tuple(longer))) == before
    dearer = [
        replace(item, price=100 * item.price, handling=100 * item.handling, credit=100 * item.credit)
        for item in asked.stock
    ]
    assert cost(replace(asked, stock=tuple(dearer))) == (None if before is None else 100 * before)


@pytest.mark.parametrize("seed", range(0, 40, 4))
def test_rows_split_in_two_and_shuffled_make_the_same_plan(seed: int) -> None:
    asked = order(BAYS_20 if seed % 8 else SMALL, seed)
    rows = [
        {
            "length_mm": item.length,
            "price": f"{item.price / 100:.2f}",
            "quantity_available": item.have,
            "min_offcut_mm": item.keep,
        }
        for item in asked.stock
    ]
    whole = [[length, count] for length, count in asked.pieces]
    halves = [[length, count // 2] for length, count in asked.pieces if count > 1]
    split = [*reversed(halves), *([length, count - count // 2] for length, count in asked.pieces)]
    one, two = (
        checked(read_demand_document({"kerf_mm": asked.kerf, "pieces": pieces, "stock": rows}))
        for pieces in (whole, split)
    )
    assert len(split) > len(whole)
    assert one.document() == two.document()
    shuffled = checked(read_demand_document({"kerf_mm": asked.kerf, "pieces": split[::-1], "stock": rows[::-1]}))
    assert (shuffled.status, shuffled.cost) == (Status.OPTIMAL, one.cost)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_stock_no_longer_and_no_cheaper_than_another_changes_nothing(seed: int) -> None:
    asked = order(SMALL, seed)
    whole = next(item for item in asked.stock if item.have is None)
    worse = StockLength(whole.length - 1, whole.price)
    assert cost(replace(asked, stock=(*asked.stock, worse))) == cost(asked)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_free_remnant_never_raises_the_cost(seed: int) -> None:
    asked = tiny(seed)
    before, after = cost(asked), cost(replace(asked, stock=(*asked.stock, StockLength(40, 0, 1))))
    assert before is None or (after is not None and after <= before)


@pytest.mark.parametrize("seed", range(0, 40, 2))
def test_two_orders_together_never_cost_more_than_apart(seed: int) -> None:
    one = order(SMALL, seed)
    endless = tuple(stock for stock in one.stock if stock.have is None)
    first = replace(one, stock=endless)
    second = replace(first, pieces=order(SMALL, seed + 1).pieces)
    counts = dict(first.pieces)
    for length, count in second.pieces:
        counts[length] = counts.get(length, 0) + count
    both = replace(first, pieces=tuple(sorted(counts.items(), reverse=True)))
    together, apart = checked(both), (checked(first), checked(second))
    assert together.bound <= apart[0].cost + apart[1].cost


@pytest.mark.parametrize("seed", range(12))
def test_a_flow_along_the_bar_costs_the_same(seed: int) -> None:
    asked = order(SMALL if seed % 2 else BAYS_20, seed)
    # a coarser grid keeps the flow small: lengths up and stock down to whole units of 60 mm
    pieces: dict[int, int] = {}
    for length, count in asked.pieces:
        pieces[-(-length // 60)] = pieces.get(-(-length // 60), 0) + count
    stock = tuple(replace(item, length=item.length // 60) for item in asked.stock)
    coarse = Demand(0, tuple(sorted(pieces.items(), reverse=True)), stock, 2)
    plan = checked(coarse)
    assert plan.status is Status.OPTIMAL
    assert plan.cost == arc_flow(coarse)
