"""Tests from take-off to purchase: purchases cover the needs and state their reasons."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fencing.buying.needs import ORDER_POLICY, BuyingPolicy, Needs
from fencing.buying.purchase import buy_separately, combine
from fencing.buying.purchase import purchase as planned
from fencing.buying.purchase_lines import Purchase
from fencing.buying.stock_options import CountedItem, MadeItem, StockLengthOption, StockOptions
from fencing.cutting import Budget
from fencing.cutting.plan_checker import check
from fencing.model.fence import BreakdownLine, Piece, Quantity

RAIL_60 = StockLengthOption("RL-60", "rail", None, 6000, Decimal("31.20"))
RAIL_48 = StockLengthOption("RL-48", "rail", None, 4800, Decimal("26.10"))
QUICK = BuyingPolicy(Budget(work=1_000_000, seconds=5, polish=False))


def needed(pieces: Sequence[Piece], quantities: Sequence[Quantity] = ()) -> Needs:
    return Needs(tuple(pieces), tuple(quantities), 3)


def purchase(
    pieces: Sequence[Piece], quantities: Sequence[Quantity], market: StockOptions, policy: BuyingPolicy = ORDER_POLICY
) -> Purchase:
    return planned(needed(pieces, quantities), market, policy)


def rails(length: int, count: int, *where: str, role: str = "rail", finish: str | None = "slate") -> Piece:
    return Piece(role, None, finish, length, None, count, where or tuple(f"A-{n + 1}" for n in range(count)))


def sheet(length: int, width: int | None, *where: str) -> Piece:
    return Piece("sheet", None, "slate", length, width, len(where), where)


def screws(net: int, allowance: int) -> Quantity:
    why = (BreakdownLine("rail ends", net, Decimal(1), Decimal(net)),)
    total = Decimal(net + allowance)
    return Quantity("screw", None, "slate", "C62", Decimal(net), Decimal(allowance), total, why)


def sound(bought: Purchase) -> Purchase:
    """Every purchase in every test: ordered covers net, plans are sound, the saw's pieces are the cut list's."""
    for line in bought.lines:
        assert line.ordered >= line.net
        assert line.why
    for cutting in bought.cuttings:
        assert check(cutting.plan).faults == ()
        listed = Counter[tuple[str, int, str]]()
        for piece in cutting.pieces:
            listed.update((piece.role, piece.length, where) for where in piece.used_at)
        sawn = Counter((label.role, label.length, label.used_at) for bar in cutting.bars for label in bar.pieces)
        assert sawn == listed
    return bought


def ordered(bought: Purchase) -> dict[str, Decimal]:
    return {line.sku: line.ordered for line in bought.lines}


def test_rails_come_from_the_cheapest_bars_with_the_saw_cut_counted() -> None:
    # two of 2238 with two cuts of 3 fit 4800 (4482) and 6000; two 4800 at 26.10 are cheaper than two 6000 at 31.20
    bought = sound(purchase([rails(2238, 4)], [], StockOptions((RAIL_60, RAIL_48), kerf={"rail": 3})))
    assert (ordered(bought), bought.total) == ({"RL-48": Decimal(2)}, Decimal("52.20"))
    assert bought.lines[0].why[0] == "2 cut into 2 × 2238, 318 mm left"


def test_a_remnant_on_hand_goes_first_and_costs_its_handling() -> None:
    remnant = StockLengthOption("RL-R7", "rail", None, 2300, Decimal(0), have=1, handling=Decimal("0.50"))
    bought = sound(purchase([rails(2238, 3)], [], StockOptions((RAIL_48, remnant), kerf={"rail": 3})))
    assert ordered(bought) == {"RL-R7": Decimal(1), "RL-48": Decimal(1)}
    assert bought.total == Decimal("26.60")
    assert [line.on_hand for line in bought.lines] == [True, False]


def test_gate_rails_share_the_plan_of_the_stock_they_are_cut_from() -> None:
    pieces = [rails(2238, 2), rails(888, 1, "A-G1", role="gate.rail")]
    market = StockOptions((RAIL_60,), kerf={"rail": 3}, cut_from={"gate.rail": "rail"})
    bought = sound(purchase(pieces, [], market))
    assert ordered(bought) == {"RL-60": Decimal(1)}  # 2 × 2238 + 888 + 3 × 3 = 5373
    assert [label.used_at for label in bought.cuttings[0].bars[0].pieces] == ["A-1", "A-2", "A-G1"]


def test_each_finish_is_a_material_of_its_own() -> None:
    bought = sound(purchase([rails(2238, 1), rails(2238, 1, finish="ochre")], [], StockOptions((RAIL_60,))))
    assert [(line.finish, line.ordered) for line in bought.lines] == [("ochre", Decimal(1)), ("slate", Decimal(1))]


def test_bars_sold_in_bundles_are_rounded_up_and_the_spare_is_stated() -> None:
    bundle = StockLengthOption("RL-B", "rail", None, 2400, Decimal(10), pack=5)
    line = sound(purchase([rails(2238, 6)], [], StockOptions((bundle,)))).lines[0]
    assert (line.net, line.ordered, line.cost) == (Decimal(6), Decimal(10), Decimal(100))
    assert line.why[0] == "6 needed, 2 packs of 5 hold 10"


def test_what_is_made_to_length_goes_up_to_the_suppliers_step() -> None:
    market = StockOptions(made=(MadeItem("SH", "sheet", None, Decimal("9.00"), step=50, width=822),))
    bought = sound(purchase([sheet(1788, 822, "A-1", "A-2"), sheet(1800, 822, "A-3")], [], market))
    assert [(line.length, line.ordered, line.cost) for line in bought.lines] == [(1800, Decimal(3), Decimal("48.60"))]


def test_a_blank_comes_from_the_cheapest_sheet_that_serves_it() -> None:
    stock = tuple(
        StockLengthOption(f"SH-{mm}", "sheet", None, mm, Decimal(mm) / 100, width=822) for mm in (1488, 1788, 2088)
    )
    bought = sound(purchase([sheet(1500, 822, "A-1"), sheet(1488, 822, "A-2")], [], StockOptions(stock)))
    assert ordered(bought) == {"SH-1788": Decimal(1), "SH-1488": Decimal(1)}


def test_a_ripped_strip_serves_where_a_narrow_sheet_is_needed() -> None:
    full = StockLengthOption("SH", "sheet", None, 1800, Decimal(18), width=822)
    pieces = [sheet(1788, 822, "A-1"), sheet(1788, 500, "A-8"), sheet(1500, 319, "B-1")]
    # 500 + 3 + 319 = 822: both narrow sheets come off one
    bought = sound(purchase(pieces, [], StockOptions((full,), rip=3)))
    assert ordered(bought) == {"SH": Decimal(2)}
    assert any("its strip is used for B-1 (319 mm wide)" in why for why in bought.lines[0].why)
    assert ordered(purchase(pieces, [], StockOptions((full,), rip=4))) == {"SH": Decimal(3)}
    assert ordered(purchase(pieces, [], StockOptions((full,), rip=3, reuse_strips=False))) == {"SH": Decimal(3)}


def test_a_strip_serves_once_and_on_its_own_site_only() -> None:
    # 300 + 3 + 250 + 3 + 250 = 806 would fit 822, yet the middle one would have no factory edge to lap with
    full = StockOptions((StockLengthOption("SH", "sheet", None, 1800, Decimal(18), width=822),), rip=3)
    bought = sound(purchase([sheet(1788, 300, "A-1"), sheet(1788, 250, "A-2", "A-3")], [], full))
    assert [[where for _, _, where in blank.takes] for blank in bought.blanks] == [["A-1", "A-2"], ["A-3"]]
    jobs = {"J1": needed([sheet(1788, 500, "A-1")]), "J2": needed([sheet(1500, 300, "A-1")])}
    assert ordered(planned(combine(jobs), full)) == {"SH": Decimal(2)}


def test_which_strip_serves_what_does_not_hang_on_the_lengths_on_sale() -> None:
    pieces = [sheet(1500, 500, "A-1"), sheet(1788, 300, "B-1"), sheet(1200, 320, "B-2")]
    markets = [
        StockOptions(
            tuple(StockLengthOption(f"SH-{mm}", "sheet", None, mm, Decimal(mm), width=822) for mm in lengths), rip=3
        )
        for lengths in ((1800,), (1200, 1500, 1800), (2400,))
    ]
    pairs = [[blank.takes for blank in purchase(pieces, [], market).blanks] for market in markets]
    assert pairs == [[((1788, 300, "B-1"), (1500, 500, "A-1")), ((1200, 320, "B-2"),)]] * 3


def test_counted_things_come_with_their_allowance_in_packs() -> None:
    market = StockOptions(counted=(CountedItem("SC", "screw", None, Decimal("0.08"), Decimal(100)),))
    line = sound(purchase([], [screws(312, 16)], market)).lines[0]
    assert (line.net, line.allowance, line.ordered, line.cost) == (
        Decimal(312),
        Decimal(16),
        Decimal(400),
        Decimal("32.00"),
    )
    assert line.why == ("312 at rail ends", "16 allowance", "328 needed, 4 packs of 100 hold 400")


def test_the_pack_that_costs_least_for_the_whole_is_taken() -> None:
    items = (
        CountedItem("BIG", "screw", None, Decimal("0.05"), Decimal(1000)),
        CountedItem("BOX", "screw", None, Decimal("0.08"), Decimal(100)),
    )
    assert ordered(purchase([], [screws(312, 16)], StockOptions(counted=items))) == {
        "BOX": Decimal(400)
    }  # 32 against 50
    assert ordered(purchase([], [screws(900, 0)], StockOptions(counted=items))) == {
        "BIG": Decimal(1000)
    }  # 50 against 72


def test_the_component_that_the_system_names_is_bought_though_another_costs_less() -> None:
    items = (
        CountedItem("SC", "screw", None, Decimal("0.08"), Decimal(100)),
        CountedItem("SC-A4", "screw", None, Decimal("0.30"), Decimal(100)),
        CountedItem("RIVET", "rivet", None, Decimal("0.01"), Decimal(100)),
    )
    for named, bought in (("SC-A4", "SC-A4"), ("gone", "SC"), ("RIVET", "SC"), (None, "SC")):
        wanted = replace(screws(100, 0), component=named)
        assert ordered(purchase([], [wanted], StockOptions(counted=items))) == {bought: Decimal(100)}


def test_what_nothing_serves_is_named_and_the_rest_is_bought() -> None:
    pieces = [rails(7000, 1), rails(2238, 1), rails(300, 2, role="lattice")]
    bought = sound(purchase(pieces, [screws(10, 0)], StockOptions((RAIL_60,))))
    assert ordered(bought) == {"RL-60": Decimal(1)}
    assert [(item.role, item.length, item.count) for item in bought.missing] == [
        ("rail", 7000, Decimal(1)),
        ("lattice", 300, Decimal(2)),
        ("screw", None, Decimal(10)),
    ]


def test_two_jobs_together_cost_less_and_the_saving_is_shown() -> None:
    # each job alone: one piece of 2400 from a bar of 4800 at 26.10; together both come off one bar
    jobs = {"J1": needed([rails(2390, 1)], [screws(60, 0)]), "J2": needed([rails(2390, 1)], [screws(40, 0)])}
    market = StockOptions(
        (RAIL_48,), counted=(CountedItem("SC", "screw", None, Decimal("0.08"), Decimal(100)),), kerf={"rail": 3}
    )
    together = sound(planned(combine(jobs), market, QUICK))
    apart = sum(bought.total for bought in buy_separately(jobs, market, QUICK).values())
    assert apart - together.total == Decimal("26.10") + Decimal("8.00")
    assert [label.used_at for label in together.cuttings[0].bars[0].pieces] == ["J1 A-1", "J2 A-1"]


def test_a_remnant_is_not_promised_to_two_jobs() -> None:
    remnant = StockLengthOption("R", "rail", None, 2400, Decimal(0), have=1)
    jobs = {"J1": needed([rails(2390, 1)]), "J2": needed([rails(2390, 1)])}
    found = buy_separately(jobs, StockOptions((RAIL_48, remnant), kerf={"rail": 3}), QUICK)
    assert [bought.total for bought in found.values()] == [Decimal(0), Decimal("26.10")]


lengths = st.integers(100, 5900)
pieces_needed = st.lists(
    st.tuples(st.sampled_from(["rail", "gate.rail", "post.square"]), lengths, st.integers(1, 6)), max_size=8
)


@settings(max_examples=60, deadline=None)
@given(pieces_needed, st.lists(st.tuples(st.integers(300, 3000), st.integers(1, 2)), max_size=3))
def test_every_piece_is_in_the_plan_once_and_the_total_is_its_lines(
    wanted: list[tuple[str, int, int]], remnants: list[tuple[int, int]]
) -> None:
    pieces = [rails(length, count, role=role) for role, length, count in wanted]
    on_hand = tuple(
        StockLengthOption(f"R{n}", "rail", None, mm, Decimal(0), have=have) for n, (mm, have) in enumerate(remnants)
    )
    posts = StockLengthOption("P", "post.square", "slate", 6000, Decimal(44), pack=3)
    market = StockOptions((RAIL_60, RAIL_48, posts, *on_hand), kerf={"rail": 3}, cut_from={"gate.rail": "rail"})
    bought = sound(purchase(pieces, [], market, QUICK))
    assert bought.missing == ()
    planned = Counter[int]()
    for cutting in bought.cuttings:
        planned.update(label.length for bar in cutting.bars for label in bar.pieces)
    assert planned == Counter(length for _, length, count in wanted for _ in range(count))
    assert bought.total == sum((line.cost for line in bought.lines), Decimal(0))


def test_a_stock_length_of_nothing_is_refused() -> None:
    with pytest.raises(ValueError, match="lengths and packs"):
        StockLengthOption("X", "rail", None, 0, Decimal(1))
