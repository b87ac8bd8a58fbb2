"""Published optima of the cutting-stock problem.

Paper mill: Wikipedia, "Cutting stock problem" (73 rolls; a greedy packer needs 82). Chvátal, Linear Programming, chapter 13
(453). The AMPL book, chapter 15, cut.dat (47). Winston, Operations Research (19 boards).
"""

from __future__ import annotations

import pytest

from fencing.cutting import Status, StockLength
from tests.fencing.cutting.orders import checked, demand

PAPER = [(1380, 22), (1520, 25), (1560, 12), (1710, 14), (1820, 18), (1880, 18), (1930, 20)]
PAPER += [(2000, 10), (2050, 12), (2100, 14), (2140, 16), (2150, 18), (2200, 20)]


@pytest.mark.parametrize(
    ("length", "pieces", "bars"),
    [
        (5600, PAPER, 73),
        (100, [(45, 97), (36, 610), (31, 395), (14, 211)], 453),
        (110, [(20, 48), (45, 35), (50, 24), (55, 10), (75, 8)], 47),
        (17, [(3, 25), (5, 20), (9, 15)], 19),
    ],
    ids=["paper mill", "chvatal", "ampl", "winston"],
)
def test_a_published_optimum_is_found_and_proved(length: int, pieces: list[tuple[int, int]], bars: int) -> None:
    plan = checked(demand(0, pieces, [StockLength(length, 1)]))
    assert plan.status is Status.OPTIMAL
    assert (plan.cost, plan.bound, sum(bar.count for bar in plan.bars)) == (bars, bars, bars)


def test_triplets_that_leave_nothing_are_all_found() -> None:
    # Falkenauer 1996, class T: every bin of 1000 holds exactly three items, so 60 items need 20 bins and waste is 0.
    # Made here by that rule: 20 triples that add up to 1000.
    triples = [(380 + 3 * n, 310 - n, 310 - 2 * n) for n in range(20)]
    assert {sum(triple) for triple in triples} == {1000}
    plan = checked(demand(0, [(length, 1) for triple in triples for length in triple], [StockLength(1000, 1)]))
    assert (plan.status, plan.cost) == (Status.OPTIMAL, 20)
    assert all(bar.left == 0 for bar in plan.bars)
