"""Cutting plans against optima in print, through the contract's own document.

Sources: AMPL book chapter 15 `cut.dat` (47 rolls); Chvatal, Linear Programming, chapter 13 (453 rolls).
"""

from __future__ import annotations

import pytest

from fencing.cutting import Status, plan_cuts, read_demand_document
from tests.checks.outside import Outside


@pytest.mark.parametrize(
    ("source", "stock", "pieces", "theirs"),
    [
        ("AMPL book, ch. 15, cut.dat", 110, [[20, 48], [45, 35], [50, 24], [55, 10], [75, 8]], 47),
        ("Chvatal, Linear Programming, ch. 13", 100, [[45, 97], [36, 610], [31, 395], [14, 211]], 453),
    ],
)
def test_the_least_number_of_bars(
    outside: Outside, source: str, stock: int, pieces: list[list[int]], theirs: int
) -> None:
    document = {
        "kerf_mm": 0,
        "pieces": pieces,
        "stock": [{"length_mm": stock, "price": "1.00", "quantity_available": None}],
    }
    plan = plan_cuts(read_demand_document(document))
    assert plan.status is Status.OPTIMAL
    outside(f"bars of {stock}", stage="cutting", source=source, ours=sum(bar.count for bar in plan.bars), theirs=theirs)
