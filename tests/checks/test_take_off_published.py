"""The engine against published figures: concrete and bags, right triangles, steps, and a real hillside.

Sources are named beside each check; "computed" figures were worked out from the published inputs for these tests.
"""

from __future__ import annotations

import math
from dataclasses import replace
from decimal import Decimal

import pytest

from fencing.model.measure import Form, Measure, MeasureBasis, Run, Station, Taper, Terminal
from fencing.model.system import Allowance, Hole, HoleShape, System
from fencing.quantities.take_off import TakeOff, take_off
from tests.fencing.test_common_practice import SYSTEM


def holes_only(
    depth: int, diameter: int, embedded: int, area: int, bag: str, waste: int, system: System = SYSTEM
) -> System:
    """The check system with other holes, whose posts are the steel of the check alone: channels count for nothing."""
    return replace(
        system,
        pitch=2400,
        hole=Hole(depth, diameter, HoleShape.STRAIGHT, diameter, bedding=depth - embedded, crown=0),
        channel=replace(system.channel, steel_area=0, embedment_min=embedded, stock=(3000,)),
        square=replace(system.square, steel_area=area, embedment_min=embedded, stock=(3000,)),
        bag_yield=Decimal(bag),
        allowances={"concrete": Allowance(percent=Decimal(waste))},
    )


def two_square_posts(system: System) -> TakeOff:
    run = Run("A", 2000, 1500, MeasureBasis.CENTRES, start=Terminal.CORNER, end=Terminal.CORNER, form=Form.LEVEL)
    return take_off(Measure("Two holes", "check", (run,)), system)


def litres(each: str, holes: int) -> Decimal:
    return (Decimal(each) * holes).quantize(Decimal("0.001"))


@pytest.mark.parametrize(
    ("depth", "diameter", "embedded", "area", "net"),
    [
        (
            600,
            300,
            600,
            0,
            "0.042412",
        ),  # published with its answer 0.0424: calculate.co.nz, concrete cylinder calculator
        (600, 300, 600, 65 * 65, "0.039877"),  # the rest computed: pi D^2/4 x depth less 65 x 65 mm of post
        (750, 300, 650, 65 * 65, "0.050268"),
        (600, 250, 500, 50 * 50, "0.028202"),
    ],
)
def test_a_hole_takes_its_cylinder_less_its_post(depth: int, diameter: int, embedded: int, area: int, net: str) -> None:
    taken = two_square_posts(holes_only(depth, diameter, embedded, area, "0.010", 0))
    assert taken.concrete.net == litres(net, 2)


@pytest.mark.parametrize(
    ("bag", "bags"),
    [
        ("0.010", 10),  # 2 x 0.0424 m3 and a tenth: 93.3 litres; two published conventions for a 20 kg bag differ
        (str(Decimal(1) / 108), 11),  # 0.0933 x 108 = 10.08
    ],
)
def test_the_yield_printed_on_the_bag_decides_how_many(bag: str, bags: int) -> None:
    assert two_square_posts(holes_only(600, 300, 600, 0, bag, 10)).concrete.bags == bags


def test_bags_are_pooled_over_the_job_not_rounded_up_at_every_post() -> None:
    system = holes_only(600, 300, 600, 65 * 65, str(Decimal(1) / 108), 0)
    runs = tuple(
        Run(name, 2000, 1500, MeasureBasis.CENTRES, start=Terminal.CORNER, end=Terminal.CORNER, form=Form.LEVEL)
        for name in ("A", "B", "C", "D", "E", "F", "G", "H", "I", "J")
    )
    apart = tuple(replace(run, start=Terminal.FREE, end=Terminal.FREE) for run in runs)
    taken = take_off(Measure("Twenty posts", "check", apart), system)
    assert taken.concrete.holes == 20
    assert taken.concrete.bags == math.ceil(0.039877 * 20 * 108) == 87  # at every post: 20 x 5 = 100


@pytest.mark.parametrize(
    ("fall", "metres"),
    [(300, 2.418677), (600, 2.473863)],  # right triangles of 2.4 m by 0.3 m (1 in 8) and by 0.6 m (1 in 4), computed
)
def test_a_raked_rail_is_the_hypotenuse_of_its_bay(fall: int, metres: float) -> None:
    """Pockets take the setbacks off both ends, measured along the slope like the bay itself."""
    levels = tuple(Station(x, fall * x // 2400) for x in (0, 2400, 4800, 7200))
    corner = Terminal.CORNER
    run = Run("A", 7200, 1800, MeasureBasis.CENTRES, start=corner, end=corner, form=Form.RAKED, levels=levels)
    bay = take_off(Measure("Slope", "check", (run,)), replace(SYSTEM, pitch=2400)).runs[0].bays[1]
    between_pockets = 2400 - 2 * 5
    expected = metres * 1000 * between_pockets / 2400
    assert [rail.length for rail in bay.rails] == [math.floor(expected + 0.5)] * 2
    assert bay.slope == pytest.approx(math.degrees(math.atan2(fall, 2400)))


def test_a_stepped_bay_at_1_in_8_steps_300_and_gapes_350_at_its_low_side() -> None:
    """Bay 2.4 m, panel 1.8 m, 50 mm at the high side: step 300, low-side gap 350, top 2150 above the low ground. Computed."""
    levels = (Station(0, 900), Station(7200, 0))
    run = Run("A", 7200, 1800, MeasureBasis.CENTRES, form=Form.STEPPED, levels=levels)
    for bay in take_off(Measure("Steps", "check", (run,)), replace(SYSTEM, pitch=2400)).runs[0].bays[1:]:
        assert bay.step == 300
        assert bay.gap_max == 350
        assert bay.top[1] - bay.ground[1] == 2150


def test_a_taper_from_1800_to_1200_over_three_bays_falls_200_a_bay() -> None:
    run = Run("A", 7200, 1800, MeasureBasis.CENTRES, form=Form.LEVEL, taper=Taper("end", 3, 1200))
    bays = take_off(Measure("Taper", "check", (run,)), replace(SYSTEM, pitch=2400)).runs[0].bays
    assert [bays[0].top[0] - 50, *(bay.top[1] - 50 for bay in bays)] == [1800, 1600, 1400, 1200]


# Heights [m] down a hillside, 10 m apart: the `volcano` grid of R's datasets package (Maunga Whau), rows 1-6 of the
# first column (gentle) and rows 8-13 of the twentieth (steep), counted from 0.
GENTLE = (101, 102, 103, 104, 105, 105)
STEEP = (125, 129, 137, 146, 154, 161)


def hillside(heights: tuple[int, ...], form: Form, rise: int = 1000) -> TakeOff:
    levels = tuple(Station(10_000 * number, rise * height) for number, height in enumerate(heights))
    run = Run("A", levels[-1].at, 1800, MeasureBasis.CENTRES, form=form, levels=levels)
    return take_off(Measure("Hillside", "check", (run,)), replace(SYSTEM, pitch=2500))


def test_a_gentle_hillside_is_raked_within_the_limits() -> None:
    taken = hillside(GENTLE, Form.RAKED)
    run = taken.runs[0]
    assert len(run.bays) == 20
    assert run.bays[-1].base[1] - run.bays[0].base[0] == 4000
    assert max(bay.slope for bay in run.bays) == pytest.approx(math.degrees(math.atan(0.1)), abs=0.05)
    assert not [notice for notice in taken.notices if notice.code in ("rake.high", "gap.high", "post.short")]
    # 4 x sqrt(10^2 + 1^2) + 10 m along the slope, less what the pockets take of 20 bays
    pockets = 19 * 2 * 5 + 2 * 35
    along = sum(rail.length for bay in run.bays for rail in bay.rails if rail.position == "bottom") + pockets
    assert along == pytest.approx(50_199.5, abs=20 * 0.5 + 2)


def test_a_steep_hillside_is_stopped_at_the_limit_of_the_rake() -> None:
    taken = hillside(STEEP, Form.RAKED)
    steep = {notice.element for notice in taken.notices if notice.code == "rake.high"}
    assert steep == {bay.id for bay in taken.runs[0].bays}  # grades 40 to 90 %, that is 22 to 42 degrees
