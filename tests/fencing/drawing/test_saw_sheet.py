"""Tests that the saw sheet shows the plan to scale."""

from __future__ import annotations

from decimal import Decimal

from lxml import etree

from fencing.buying.needs import Needs
from fencing.buying.purchase import purchase
from fencing.buying.purchase_lines import Cutting
from fencing.buying.stock_options import StockLengthOption, StockOptions
from fencing.drawing.saw_sheet import MARGIN, draw_saw_sheets
from fencing.model.fence import Piece

STOCK = StockLengthOption("RL-60", "rail", None, 6000, Decimal("31.20"))


def cutting(count: int, used_at: str = "A-1", trim: int = 0) -> Cutting:
    piece = Piece("rail", None, "slate", 2238, None, count, (used_at,) * count)
    stock = StockLengthOption("RL-60", "rail", None, 6000, Decimal("31.20"), trim=trim)
    return purchase(Needs((piece,), (), 3), StockOptions((stock,), kerf={"rail": 3})).cuttings[0]


def texts(sheet: str) -> list[str]:
    return [node.text or "" for node in etree.fromstring(sheet.encode()).iter("{*}text")]


def test_lengths_places_measures_and_the_remnants_name_are_written() -> None:
    (sheet,) = draw_saw_sheets(cutting(2), "Lot 12")
    words = texts(sheet)
    assert words.count("2238") == 3  # inside both pieces, and the measure to the first cut
    assert words.count("A-1") == 2
    assert "4479" in words  # 2238 + 3 + 2238
    assert "keep: RAIL-R1 1518" in words


def test_a_piece_is_as_wide_as_its_share_of_the_longest_bar() -> None:
    (sheet,) = draw_saw_sheets(cutting(2), "Lot 12", paper=MARGIN + 4 + 120)
    # 6000 mm on 120 mm of paper: 2238 mm are 44.76 mm wide
    assert sheet.count("h44.76v6") == 2


def test_bars_cut_alike_are_drawn_once_with_their_numbers_and_places() -> None:
    made = cutting(80)
    (sheet,) = draw_saw_sheets(made, "Lot 12")
    words = texts(sheet)
    assert len(made.bars) == 40  # two of 2238 a bar
    assert sheet.count('class="g-bar"') == 1
    assert "1–40" in words
    assert "2238: A-1 (80)" in words
    assert "keep: RAIL-R1 to RAIL-R40, 1518 each" in words


def test_places_that_take_more_than_a_sheet_go_on_in_the_next() -> None:
    names = tuple(f"{'ABCDEFGH'[place % 8]}-{place}" for place in range(400))  # neighbours never of one run
    piece = Piece("rail", None, "slate", 2238, None, 400, names)
    made = purchase(Needs((piece,), (), 3), StockOptions((STOCK,), kerf={"rail": 3})).cuttings[0]
    sheets = draw_saw_sheets(made, "Lot 12", height=60)
    assert len(sheets) > 1
    drawn = [float(etree.fromstring(sheet.encode()).get("height", "").removesuffix("mm")) for sheet in sheets]
    assert max(drawn) <= 60
    data = " ".join(word for sheet in sheets for word in texts(sheet)).replace(",", " ").split()
    assert set(names) <= set(data)


def test_markup_in_a_place_is_only_text() -> None:
    (sheet,) = draw_saw_sheets(cutting(1, used_at="<b>&"), "Lot <12>")
    assert "<b>&" in texts(sheet)


def test_scrap_is_crossed_out_and_an_end_trim_is_drawn() -> None:
    (with_trim,) = draw_saw_sheets(cutting(1, trim=40), "Lot 12")
    assert with_trim.count("d-section") == 2  # the trim and the one cut
    assert "2278" in texts(with_trim)  # 40 + 2238
