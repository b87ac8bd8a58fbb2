"""Every stage of a take-off against right triangles, printed volumes and a real hillside, through the whole engine.

Sources: calculate.co.nz (concrete cylinder), R's `volcano` grid, right triangles; "computed" where worked out for the list.
"""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from math import atan2, degrees, floor, sqrt

import pytest

from fencing.model.measure import Form, Layout, Measure, MeasureBasis, Run, Station, Taper, Terminal
from fencing.model.rounding import measure_along_slope
from fencing.quantities.take_off import take_off
from fencing.set_out.gates import calculate_diagonal
from tests.checks.outside import Outside
from tests.checks.test_take_off_published import GENTLE, hillside, holes_only, two_square_posts
from tests.fencing.test_common_practice import SYSTEM

TRIANGLE = "right triangle, computed"
STEP = "grade 1 in 8 over bays of 2.4 m, computed"
CYLINDER = "calculate.co.nz, concrete cylinder calculator"
VOLUME = "cylinder less post, computed"
VOLCANO = "R datasets `volcano` (Maunga Whau), rows 1-6 of column 0"
HELD = replace(SYSTEM, pitch=2400)


def raked(fall: int) -> Run:
    levels = tuple(Station(x, fall * x // 2400) for x in (0, 2400, 4800, 7200))
    return Run(
        "A",
        7200,
        1800,
        MeasureBasis.CENTRES,
        start=Terminal.CORNER,
        end=Terminal.CORNER,
        form=Form.RAKED,
        levels=levels,
    )


def test_posts_of_a_tapered_run(outside: Outside) -> None:
    run = Run("A", 7200, 1800, MeasureBasis.CENTRES, form=Form.LEVEL, layout=Layout.EVEN, taper=Taper("end", 3, 1200))
    built = take_off(Measure("Taper", "check", (run,)), HELD).runs[0]
    source = "7.2 m at a pitch of 2.4 m, computed"
    outside(
        "hole centres",
        stage="layout",
        source=source,
        ours=[post.at for post in built.posts],
        theirs=[0, 2400, 4800, 7200],
        unit="mm",
    )
    heights = [built.bays[0].top[0] - 50, *(bay.top[1] - 50 for bay in built.bays)]
    outside(
        "heights of a taper 1.8 to 1.2 m",
        stage="form",
        source="linear taper, computed",
        ours=heights,
        theirs=[1800, 1600, 1400, 1200],
        unit="mm",
    )


@pytest.mark.parametrize(("fall", "angle", "metres"), [(300, 7.12502, 2.418677), (600, 14.03624, 2.473863)])
def test_rakes(outside: Outside, fall: int, angle: float, metres: float) -> None:
    bay = take_off(Measure("Slope", "check", (raked(fall),)), HELD).runs[0].bays[1]
    outside(
        f"slope of a bay falling {fall} mm",
        stage="form",
        source=TRIANGLE,
        ours=bay.slope,
        theirs=angle,
        within=1e-5,
        unit="degrees",
    )
    assert bay.slope == pytest.approx(degrees(atan2(fall, 2400)))
    rail = floor(metres * 1000 * (2400 - 10) / 2400 + 0.5)
    outside(
        f"raked rail, fall {fall} mm, pockets taken off",
        stage="bay",
        source=TRIANGLE,
        ours=bay.rails[0].length,
        theirs=rail,
        unit="mm",
    )
    outside(
        f"2.4 m along a fall of {fall} mm",
        stage="bay",
        source=TRIANGLE,
        ours=measure_along_slope(2400, fall, 2400),
        theirs=metres * 1000,
        within=0.5,
        unit="mm",
        digits=7,
    )


def test_ten_per_cent_over_thirty_metres(outside: Outside) -> None:
    ours = measure_along_slope(30_000, 3_000, 30_000)
    outside(
        "30 m rising 3 m", stage="bay", source=TRIANGLE, ours=ours, theirs=30149.627, within=0.5, unit="mm", digits=8
    )


def test_a_tape_with_one_end_low(outside: Outside) -> None:
    source = "civilnoteppt.com, slope correction of a 30 m tape"
    ours = sqrt(measure_along_slope(30_000, 0, 30_000) ** 2 - 700**2)
    outside(
        "30 m tape, end 0.70 m low, in plan",
        stage="form",
        source=source,
        ours=ours,
        theirs=29991.83,
        within=0.01,
        unit="mm",
        digits=7,
    )


def test_steps(outside: Outside) -> None:
    levels = (Station(0, 900), Station(7200, 0))
    run = Run("A", 7200, 1800, MeasureBasis.CENTRES, form=Form.STEPPED, levels=levels)
    built = take_off(Measure("Steps", "check", (run,)), HELD).runs[0]
    bay = built.bays[1]
    outside("step", stage="form", source=STEP, ours=bay.step, theirs=300, unit="mm")
    outside("gap at the low side", stage="form", source=STEP, ours=bay.gap_max, theirs=350, unit="mm")
    above = bay.top[1] - bay.ground[1]
    outside("top above the low ground", stage="posts", source=STEP, ours=above, theirs=2150, unit="mm")
    source = "NSW SEPP 2008 cl 2.34: 2.2 m at each step (limit), computed"
    outside("stepped 1.8 m panel at 1 in 8 within 2.2 m", stage="posts", source=source, ours=above <= 2200, theirs=True)
    outside(
        "sum of steps and the run's fall",
        stage="form",
        source=STEP,
        ours=built.bays[0].base[0] - built.bays[-1].base[0],
        theirs=600,
        unit="mm",
    )


@pytest.mark.parametrize(
    ("depth", "diameter", "embedded", "area", "net", "source"),
    [
        (600, 300, 600, 0, 0.0424, CYLINDER),
        (600, 300, 600, 65 * 65, 0.039877, VOLUME),
        (750, 300, 650, 65 * 65, 0.050268, VOLUME),
        (600, 250, 500, 50 * 50, 0.028202, VOLUME),
        (914, 305, 914, 89 * 89, (2.10099 * 0.3048**3), "12 x 36 in hole, 3.5 in post, computed"),
    ],
)
def test_concrete(
    outside: Outside, depth: int, diameter: int, embedded: int, area: int, net: float, source: str
) -> None:
    taken = two_square_posts(holes_only(depth, diameter, embedded, area, "0.010", 0))
    what = f"concrete in a hole {diameter} x {depth} mm, post of {area} mm2"
    within = 6e-4 if source not in (VOLUME, CYLINDER) else 3e-4  # rows are rounded to litres, here over two holes
    outside(
        what,
        stage="concrete",
        source=source,
        ours=float(taken.concrete.net) / 2,
        theirs=round(net, 6),
        within=within,
        unit="m3",
    )


@pytest.mark.parametrize(("bag", "bags", "yields"), [("0.010", 10, "100"), (str(Decimal(1) / 108), 11, "108")])
def test_bags(outside: Outside, bag: str, bags: int, yields: str) -> None:
    ours = two_square_posts(holes_only(600, 300, 600, 0, bag, 10)).concrete.bags
    source = f"{yields} bags of 20 kg a cubic metre (two conventions in print), computed"
    outside(f"bags for two holes at {yields} a m3, 10 % waste", stage="concrete", source=source, ours=ours, theirs=bags)


def test_a_gentle_hillside(outside: Outside) -> None:
    run = hillside(GENTLE, Form.RAKED).runs[0]
    fall = run.bays[-1].base[1] - run.bays[0].base[0]
    outside("rise of a raked run of 50 m", stage="ground", source=VOLCANO, ours=fall, theirs=4000, unit="mm")
    pockets = (len(run.bays) - 1) * 2 * 5 + 2 * 35
    along = sum(rail.length for bay in run.bays for rail in bay.rails if rail.position == "bottom") + pockets
    outside(
        "length along its slope",
        stage="ground",
        source=VOLCANO,
        ours=along,
        theirs=50199.5,
        within=12,
        unit="mm",
        digits=8,
    )


@pytest.mark.parametrize(("width", "height", "theirs"), [(900, 1200, 1500), (500, 1200, 1300), (800, 1500, 1700)])
def test_equal_diagonals(outside: Outside, width: int, height: int, theirs: int) -> None:
    source = "whole-number right triangles (3-4-5, 5-12-13, 8-15-17)"
    outside(
        f"diagonal of a leaf {width} x {height} mm",
        stage="gates",
        source=source,
        ours=calculate_diagonal(width, height),
        theirs=theirs,
        unit="mm",
    )
