"""Labour and materials are read from a take-off and divided among its runs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from catalogue.rules.digging import DigRate, HoleFactors
from catalogue.rules.price_rule_lines import Category
from fencing.model.faults import InvalidDocument
from fencing.model.measure import (
    ExistingFence,
    Form,
    Gate,
    GateKind,
    MeasureBasis,
    Retrofit,
    Run,
    Station,
    Taper,
    Terminal,
)
from fencing.quantities.choose_layout import build_options
from fencing.set_out.ground import Ground
from quotes.pricing.costs import CostLine
from quotes.pricing.digging import Holes, dig_lines
from quotes.pricing.labour import disposal_lines, labour_lines, work_of
from quotes.pricing.material_costs import MaterialPurchase, material_lines, shares_by_run
from tests.quotes.pricing.cast import SYSTEM, rules, taken_off

SIDE = Run("A", 10000, 1500, basis=MeasureBasis.CENTRES, soil="clay", end=Terminal.CORNER)
REAR = Run("B", 6000, 1500, basis=MeasureBasis.CENTRES, soil="sand", turn=Fraction(90), start=Terminal.CORNER)
RATES = {
    "set_out": Decimal(4),
    "dig": Decimal(30),
    "dig.clay": Decimal(35),
    "dig.sand": Decimal(30),
    "erect.1500": Decimal(20),
    "erect.1800": Decimal(24),
    "rake": Decimal(15),
    "gate": Decimal(80),
    "remove": Decimal(9),
}


def amounts(lines: list[CostLine]) -> dict[str, Decimal]:
    return {line.key: line.quantity for line in lines}


def test_holes_are_counted_by_soil_and_a_shared_corner_once() -> None:
    # 10 m at 2 m: 6 posts in clay; 6 m: 4 posts of which the corner belongs to the first run
    lines = labour_lines(taken_off(SIDE, REAR), rules(labour=RATES))
    assert amounts(lines) == {
        "labour.set_out": 6 + 3,
        "labour.dig.clay": 6,
        "labour.dig.sand": 3,
        "labour.erect.1500": Decimal("16.000"),
    }
    assert next(line for line in lines if line.key == "labour.set_out").runs == {
        "A": Fraction(6, 9),
        "B": Fraction(3, 9),
    }
    assert next(line for line in lines if line.key == "labour.dig.sand").rate == 30


def test_metres_are_erected_at_the_rate_of_their_height() -> None:
    high = Run("C", 4000, 1800, basis=MeasureBasis.CENTRES, soil="clay")
    lines = labour_lines(taken_off(SIDE, high), rules(labour=RATES))
    rates = {line.key: (line.quantity, line.rate) for line in lines if line.key.startswith("labour.erect")}
    assert rates == {
        "labour.erect.1500": (Decimal(10), Decimal(20)),
        "labour.erect.1800": (Decimal(4), Decimal(24)),
    }


def test_only_bays_that_are_cut_to_a_slope_cost_the_cutting() -> None:
    fall = (Station(0, 0), Station(4000, 0), Station(10000, -300))
    raked = Run("A", 10000, 1500, basis=MeasureBasis.CENTRES, levels=fall, form=Form.RAKED)
    # of five bays the first two stand level
    assert amounts(labour_lines(taken_off(raked), rules(labour=RATES)))["labour.rake"] == 3


def test_a_tapered_bay_is_cut_to_a_slope_too() -> None:
    tapered = Run("A", 10000, 1500, basis=MeasureBasis.CENTRES, form=Form.LEVEL, taper=Taper("end", 2, 900))
    assert amounts(labour_lines(taken_off(tapered), rules(labour=RATES)))["labour.rake"] == 2


def test_gates_are_hung_by_kind_and_old_fence_is_taken_down_by_the_metre() -> None:
    gate = Gate("A-G1", 3000, 1000, GateKind.SINGLE, 1500)
    run = Run("A", 10000, 1500, basis=MeasureBasis.CENTRES, gates=(gate,), existing_fence=ExistingFence("paling", 8500))
    business = rules(labour={**RATES, "gate.single": Decimal(70)}, disposal={"paling": Decimal(6)})
    lines = {line.key: line for line in labour_lines(taken_off(run), business)}
    assert (lines["labour.gate.single"].quantity, lines["labour.gate.single"].rate) == (Decimal(1), Decimal(70))
    assert (lines["labour.remove.paling"].quantity, lines["labour.remove.paling"].rate) == (
        Decimal("8.500"),
        Decimal(9),
    )
    tipping = disposal_lines(taken_off(run), business)
    assert [(line.category, line.quantity, line.unit) for line in tipping] == [
        (Category.DISPOSAL, Decimal("8.500"), "MTR")
    ]


def test_spoil_is_the_volume_of_the_holes() -> None:
    # 6 holes of 300 mm by 600 mm: 0.042412 m3 each
    works = {work.activity: work.quantity for work in work_of(taken_off(SIDE))}
    assert works["spoil"] == Decimal("0.254")


def test_a_saw_cut_is_paid_for_each_rail_that_is_not_a_stock_length() -> None:
    # stock is 1990: A has two bays at square posts with two rails of 1960 each, B has as many; the other rails are whole
    lines = labour_lines(taken_off(SIDE, REAR), rules(labour={**RATES, "cut": Decimal("1.40")}))
    cut = next(line for line in lines if line.key == "labour.cut")
    assert (cut.label, cut.quantity, cut.rate) == ("Sawing rails to length", Decimal(8), Decimal("1.40"))
    assert cut.runs == {"A": Fraction(1, 2), "B": Fraction(1, 2)}
    assert "labour.cut" not in amounts(labour_lines(taken_off(SIDE, REAR), rules(labour=RATES)))


def test_choosing_a_layout_counts_the_same_saw_cuts_as_the_price() -> None:
    plain = replace(SIDE, end=Terminal.FREE)
    (chosen,) = build_options(plain, Ground((0,), (0,)), SYSTEM, None, forms=[Form.LEVEL], layouts=[plain.layout])
    paid = sum(work.quantity for work in work_of(taken_off(plain)) if work.activity == "cut")
    assert paid == chosen.cuts == 4


def test_spoil_and_travel_cost_only_where_there_is_a_rate() -> None:
    business = rules(labour={**RATES, "spoil": Decimal(40), "travel": Decimal(60)}, visits=Decimal(2))
    lines = amounts(labour_lines(taken_off(SIDE), business))
    assert (lines["labour.spoil"], lines["labour.travel"]) == (Decimal("0.254"), Decimal(2))
    assert amounts(labour_lines(taken_off(SIDE), business, visits=Decimal(5)))["labour.travel"] == 5
    assert "labour.spoil" not in amounts(labour_lines(taken_off(SIDE), rules(labour=RATES)))


def test_spoil_is_carted_as_loose_as_its_soil_gets() -> None:
    # 6 + 3 holes of 0.042412 m3: 0.254 m3 of clay x 1.4 = 0.356 and 0.127 m3 of sand x 1.2 = 0.152
    factors = HoleFactors({}, {"": Decimal("1.2"), "clay": Decimal("1.4")})
    business = rules(labour={**RATES, "spoil": Decimal(40)}, disposal={"spoil": Decimal(38)}, factors=factors)
    [carting] = [line for line in labour_lines(taken_off(SIDE, REAR), business) if line.key == "labour.spoil"]
    [tipping] = disposal_lines(taken_off(SIDE, REAR), business)
    assert carting.quantity == tipping.quantity == Decimal("0.356") + Decimal("0.152")
    assert carting.why == "0.254 m³ of clay ground × 1.4 once dug; 0.127 m³ of sand ground × 1.2 once dug"


def test_a_deeper_hole_costs_each_further_100_mm_that_is_begun() -> None:
    # 600 mm deep: the rate includes 350 mm, so 250 mm are three further 100 mm for each of 6 holes
    labour = {**RATES, "dig_deeper.clay": Decimal("4.50")}
    lines = {line.key: line for line in labour_lines(taken_off(SIDE), rules(labour=labour, depths={"dig.clay": 350}))}
    holes, deeper = lines["labour.dig.clay"], lines["labour.dig_deeper.clay"]
    assert (holes.quantity, holes.rate, holes.why) == (Decimal(6), Decimal(35), "35 a hole up to 350 mm deep")
    assert (deeper.quantity, deeper.rate) == (Decimal(18), Decimal("4.50"))
    assert deeper.why == "6 of 600 mm take 3 further 100 mm each: 4.5 each"
    assert deeper.runs == {"A": 1}


def test_wide_holes_cost_the_factor_of_their_diameter() -> None:
    # 300 mm across: the band up to 400
    factors = HoleFactors({250: Decimal(1), 400: Decimal("1.5"), 600: Decimal(3)}, {})
    lines = {line.key: line for line in labour_lines(taken_off(SIDE), rules(labour=RATES, factors=factors))}
    assert lines["labour.dig.clay"].rate == Decimal("52.5")
    assert lines["labour.dig.clay"].why == "35 a hole × 1.5 for holes up to 400 mm across"


def test_a_hole_wider_or_deeper_than_the_rules_know_is_refused() -> None:
    narrow = rules(labour=RATES, factors=HoleFactors({250: Decimal(1)}, {}), depths={"dig.clay": 500})
    with pytest.raises(InvalidDocument) as refused:
        labour_lines(taken_off(SIDE), narrow)
    assert [fault.pointer for fault in refused.value.faults] == [
        "/price_rules/labour/dig_deeper.clay",
        "/price_rules/factor/diameter.300",
    ]


def test_no_soil_falls_back_to_the_rate_of_another() -> None:
    rock = replace(SIDE, soil="rock")
    with pytest.raises(InvalidDocument, match=r"no labour rate for dig\.rock"):
        labour_lines(taken_off(rock), rules(labour={**RATES, "dig_deeper": Decimal(1)}))
    without = rules(labour={key: rate for key, rate in RATES.items() if key != "dig"})
    with pytest.raises(InvalidDocument, match="Name the soil of each run, one of: clay, sand"):
        labour_lines(taken_off(replace(SIDE, soil=None)), without)


def test_the_case_of_a_word_does_not_matter() -> None:
    loud = replace(SIDE, soil="Clay", existing_fence=ExistingFence("Timber  Paling", 8500))
    business = rules(labour={**RATES, "remove.timber paling": Decimal(9)}, disposal={"timber paling": Decimal(6)})
    lines = amounts(labour_lines(taken_off(loud), business))
    assert (lines["labour.dig.clay"], lines["labour.remove.timber paling"]) == (Decimal(6), Decimal("8.500"))
    assert amounts(disposal_lines(taken_off(loud), business)) == {"disposal.timber paling": Decimal("8.500")}


def test_the_business_charges_nothing_for_what_a_licensed_contractor_takes_down() -> None:
    run = replace(SIDE, existing_fence=ExistingFence("asbestos", 8500))
    business = rules(labour=RATES, disposal={"asbestos": Decimal(60)}, hazardous=frozenset({"asbestos"}))
    assert not [line for line in labour_lines(taken_off(run), business) if line.key.startswith("labour.remove")]
    assert disposal_lines(taken_off(run), business) == []


def paid_hole_by_hole(depths: Sequence[int], rate: DigRate, factor: Decimal) -> Decimal:
    """Return the digging cost, calculated hole by hole in steps of 100 mm."""
    total = Decimal(0)
    for depth in depths:
        total += rate.hole * factor
        dug = rate.included if rate.included is not None else depth
        while dug < depth:
            total += (rate.deeper or Decimal(0)) * factor
            dug += 100
    return total


money = st.decimals(0, 200, places=2)


@given(
    depths=st.lists(st.integers(300, 2000), min_size=1, max_size=8),
    rate=st.builds(DigRate, money, st.none() | st.integers(100, 1500), money),
    factor=st.decimals("0.5", 4, places=2),
)
def test_digging_comes_to_what_it_costs_hole_by_hole(depths: list[int], rate: DigRate, factor: Decimal) -> None:
    labour = {"dig": rate.hole, "dig_deeper": rate.deeper or Decimal(0)}
    included = {} if rate.included is None else {"dig": rate.included}
    business = rules(labour=labour, depths=included, factors=HoleFactors({300: factor}, {}))
    holes = [Holes("", "AB"[number % 2], depth, 1) for number, depth in enumerate(depths)]
    lines = list(dig_lines(holes, business, 300))
    expected = paid_hole_by_hole(depths, rate, factor)
    assert sum(line.quantity * line.rate for line in lines) == expected
    assert sum((rate.price(depth, factor) for depth in depths), Decimal(0)) == expected


def test_every_rate_that_is_missing_is_named_at_once() -> None:
    with pytest.raises(InvalidDocument) as refused:
        labour_lines(taken_off(SIDE), rules(labour={"set_out": Decimal(4)}))
    assert [fault.pointer for fault in refused.value.faults] == [
        "/price_rules/labour/dig.clay",
        "/price_rules/labour/erect.1500",
    ]


def test_fitting_lattice_to_standing_bays_is_paid_by_the_bay() -> None:
    takeoff = taken_off(retrofits=(Retrofit("R1", (2000, 2000, 1800), 300),))
    assert amounts(labour_lines(takeoff, rules(labour={"retrofit": Decimal(45)}))) == {"labour.retrofit": 3}


def test_rails_are_shared_by_length_and_screws_by_bays() -> None:
    takeoff = taken_off(SIDE, REAR)
    # 5 bays and 3 bays, equal except for the rails at square posts, which are 30 mm shorter: 1960 (two ends of A, of B) and 1990
    side, rear = 2 * (2 * 1960 + 3 * 1990), 2 * (2 * 1960 + 1 * 1990)
    assert shares_by_run(takeoff, "rail", None) == {"A": Fraction(side, side + rear), "B": Fraction(rear, side + rear)}
    assert shares_by_run(takeoff, "screw", None) == {"A": Fraction(5, 8), "B": Fraction(3, 8)}
    assert shares_by_run(takeoff, "concrete.bag", None) == {"A": Fraction(6, 9), "B": Fraction(3, 9)}


def test_a_latch_is_paid_by_the_run_that_has_the_gate() -> None:
    gate = Gate("B-G1", 3000, 1000, GateKind.SINGLE, 1500)
    gated = Run("B", 6000, 1500, basis=MeasureBasis.CENTRES, gates=(gate,))
    plain = Run("A", 10000, 1500, basis=MeasureBasis.CENTRES)
    assert shares_by_run(taken_off(plain, gated), "latch", None) == {"B": Fraction(1)}


def test_materials_are_costed_as_ordered() -> None:
    bought = MaterialPurchase(
        "R-1990", "Rail 1990", "rail", "slate", Decimal(20), "C62", Decimal("18.40"), cost=Decimal("360.00")
    )
    line = material_lines([bought], taken_off(SIDE))[0]
    assert (line.key, line.role, line.costs(2), line.category) == (
        "material.R-1990",
        "rail",
        Decimal("360.00"),
        Category.MATERIALS,
    )
