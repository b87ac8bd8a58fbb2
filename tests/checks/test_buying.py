"""Cutting plans and purchases compared with optima and bag counts in print.

Sources: AMPL book chapter 15 `cut.dat` (47 rolls); Chvatal, Linear Programming, chapter 13 (453 rolls); Wikipedia, "Cutting
stock problem", repeated in google/or-tools `cutting_stock.cc` (73 rolls); Winston, Operations Research (boards of 17 ft; data
from memory, optimum computed with HiGHS); constructionwork.com, bricks and blocks (60 bags of 60 lb, 45 of 80 lb to the cubic
yard); two Australian data sheets (108 and 100 bags of 20 kg to the cubic metre).
"""

from __future__ import annotations

from decimal import Decimal

import pytest

from fencing.buying.needs import Needs
from fencing.buying.purchase import purchase
from fencing.buying.purchase_lines import in_packs
from fencing.buying.stock_options import StockLengthOption, StockOptions
from fencing.cutting import Status, plan_cuts, read_demand_document
from fencing.model.fence import Piece
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


MILL = [
    (1380, 22), (1520, 25), (1560, 12), (1710, 14), (1820, 18), (1880, 18), (1930, 20), (2000, 10), (2050, 12), (2100, 14),
    (2140, 16), (2150, 18), (2200, 20),
]  # fmt: skip
BOARDS = [(300, 25), (500, 20), (900, 15)]


@pytest.mark.parametrize(
    ("what", "source", "stock", "pieces", "theirs"),
    [
        ("rolls of 5600 ordered", "Wikipedia, Cutting stock problem; google/or-tools cutting_stock.cc", 5600, MILL, 73),
        ("boards of 17 ft ordered", "Winston, Operations Research (data from memory), computed", 1700, BOARDS, 19),
    ],
)
def test_no_more_stock_is_ordered_than_the_optimum(
    outside: Outside, what: str, source: str, stock: int, pieces: list[tuple[int, int]], theirs: int
) -> None:
    wanted = tuple(Piece("rail", None, None, length, None, count, ("A",) * count) for length, count in pieces)
    bought = purchase(Needs(wanted, (), 0), StockOptions((StockLengthOption("bar", "rail", None, stock, Decimal(1)),)))
    (line,) = bought.lines
    assert not bought.missing
    outside(what, stage="buying", source=source, ours=int(line.ordered), theirs=theirs)


@pytest.mark.parametrize(
    ("what", "source", "volume", "yields", "theirs"),
    [
        ("bags of 60 lb to a cubic yard", "constructionwork.com, bricks and blocks", "27", "0.45", 60),
        ("bags of 80 lb to a cubic yard", "constructionwork.com, bricks and blocks", "27", "0.60", 45),
        ("bags of 20 kg to a cubic metre, yield 1/108", "Australian data sheet, 108 bags a m3", "1", "0.00926", 108),
        ("bags of 20 kg to a cubic metre, yield 10 L", "Australian data sheet, 100 bags a m3", "1", "0.010", 100),
    ],
)
def test_bags_to_order(outside: Outside, what: str, source: str, volume: str, yields: str, theirs: int) -> None:
    packs = in_packs(Decimal(volume), Decimal(yields)).packs
    outside(what, stage="buying", source=source, ours=packs, theirs=theirs)
