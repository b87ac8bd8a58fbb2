"""The screening of a measured job, and load and moment of a post: published pressures, plain statics, scipy's quadrature."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from fencing.model.measure import Form, Layout, Measure, MeasureBasis, Run, StrengthRequest
from fencing.model.system import Profile, Steel
from fencing.quantities.take_off import take_off
from fencing.strength.embedment import PSF_PER_FT, calculate_nonconstrained_m, find_rising_root
from fencing.strength.loads import Side, calculate_post_load, calculate_side_load
from fencing.strength.screening import screen
from fencing.strength.section import calculate_square_tube
from tests.checks.outside import Outside
from tests.fencing.test_common_practice import SYSTEM

STEEL = Steel(Decimal(350), Decimal("0.9"), square=Profile(Decimal(65), Decimal("2.5")))
SUBURB = "AS/NZS 1170.2 at 37.35 m/s, 65 x 2.5 tube of 350 MPa, computed"
CHAIN = "ASCE 7-16 chained to IBC Eq. 18-1, 6 ft fence, computed"
FOOT, LB = 0.3048, 4.4482216152605e-3


def test_an_ordinary_suburban_fence(outside: Outside) -> None:
    system = replace(SYSTEM, pitch=2400, ground_gap=0, steel=STEEL)
    run = Run("A", 28800, 1800, MeasureBasis.CENTRES, form=Form.LEVEL, layout=Layout.EVEN)
    request = StrengthRequest("as-nzs-1170.2", {"speed_m_s": "37.35", "soil_class": "clay"})
    posts = screen(take_off(Measure("Suburb", "check", (run,)), system), request).posts
    middle, second, end = posts[6], posts[1], posts[0]
    outside(
        "moment, middle post",
        stage="strength",
        source=SUBURB,
        ours=middle.load.moment_nm,
        theirs=3905.2,
        within=0.1,
        unit="N m",
    )
    shares = (
        3905.2 * (2 * 2.4 + 0) / 2.4
    )  # the second post's bays lie within two heights of the end, all at double pressure
    outside(
        "moment, first line post from a free end",
        stage="strength",
        source=SUBURB,
        ours=second.load.moment_nm,
        theirs=round(shares, 1),
        within=0.2,
        unit="N m",
    )
    outside(
        "capacity 0.9 Z fy of the end post",
        stage="strength",
        source=SUBURB,
        ours=end.capacity_nm,
        theirs=3790,
        within=5,
        unit="N m",
    )
    tube = calculate_square_tube(65, 2.5)
    plastic = 0.9 * tube.sx_mm3 * 350 / 1000
    outside(
        "plastic capacity 0.9 S fy", stage="strength", source=SUBURB, ours=plastic, theirs=4450, within=5, unit="N m"
    )
    assert end.utilisation is not None
    assert end.utilisation > 1  # "near or over such a post by full code wind"


def test_wind_to_embedment_of_a_six_foot_fence(outside: Outside) -> None:
    force = 0.6 * 1295.71 * LB
    single = (("clay", 100, 8.772), ("sand", 150, 7.360))
    doubled = (("clay doubled", 200, 6.509), ("sand doubled", 300, 5.488), ("gravel doubled", 400, 4.870))
    for soil, psf, theirs in (*single, *doubled):
        ours = calculate_nonconstrained_m(force, 3.3 * FOOT, FOOT, psf * PSF_PER_FT) / FOOT
        outside(
            f"embedment at 0.6 W, 1 ft hole, {soil}",
            stage="strength",
            source=CHAIN,
            ours=ours,
            theirs=theirs,
            within=2e-3,
            unit="ft",
        )


STATICS = "statics, computed"


def bay(base: float, top: float, lattice: float = 0.0, pressure: float = 1000.0) -> Side:
    return Side(2.4, (base, base), (top, top), lattice, pressure)


@pytest.mark.parametrize(
    ("what", "side", "factor", "force", "moment"),
    [
        ("1 kPa on 2.4 x 1.8 m from the ground", bay(0, 1.8), 1, 4320, 3888),
        ("the same over a gap of 50 mm", bay(0.05, 1.8), 1, 4200, 3885),
        ("sheet to 1.5 m, half-open lattice to 1.8 m", bay(0, 1.8, 0.3), 0.75, 4140, 3591),
    ],
)
def test_a_bay_on_its_post(outside: Outside, what: str, side: Side, factor: float, force: float, moment: float) -> None:
    load = calculate_side_load(side, factor)
    outside(f"force, {what}", stage="strength", source=STATICS, ours=load.force_n, theirs=force, within=1e-6, unit="N")
    outside(
        f"moment, {what}", stage="strength", source=STATICS, ours=load.moment_nm, theirs=moment, within=1e-6, unit="N m"
    )


@pytest.mark.parametrize(("pressure", "moment", "force"), [(1004.4174, 3905.2, 4339.1), (2008.8348, 7810.3, 8678.2)])
def test_code_wind_on_an_ordinary_fence(outside: Outside, pressure: float, moment: float, force: float) -> None:
    load = calculate_side_load(bay(0, 1.8, 0, pressure))
    source = "AS/NZS 1170.2 pressure at 37.35 m/s and statics, computed"
    outside(
        f"moment at {pressure:.0f} Pa",
        stage="strength",
        source=source,
        ours=load.moment_nm,
        theirs=moment,
        within=0.1,
        unit="N m",
    )
    outside(
        f"force at {pressure:.0f} Pa",
        stage="strength",
        source=source,
        ours=load.force_n,
        theirs=force,
        within=0.1,
        unit="N",
    )


def test_a_fence_made_higher_pulls_with_the_square(outside: Outside) -> None:
    low, high = calculate_side_load(bay(0, 1.5)), calculate_side_load(bay(0, 1.8))
    outside(
        "moment, 1.5 to 1.8 m",
        stage="strength",
        source=STATICS,
        ours=round(high.moment_nm / low.moment_nm, 9),
        theirs=1.44,
        unit="times",
    )
    outside(
        "force, 1.5 to 1.8 m",
        stage="strength",
        source=STATICS,
        ours=round(high.force_n / low.force_n, 9),
        theirs=1.2,
        unit="times",
    )


def test_a_tapered_raked_bay_by_quadrature(outside: Outside) -> None:
    side = Side(1.2, (0.05, 0.20), (1.80, 1.45), 0.3, 800)
    load = calculate_side_load(side, 0.75)

    def strip(x: float, power: int) -> float:
        base, top = 0.05 + 0.15 * x / 1.2, 1.80 - 0.35 * x / 1.2
        sheet = quad(lambda z: 800 * z**power, base, top - 0.3)[0]
        return float(sheet + quad(lambda z: 800 * 0.75 * z**power, top - 0.3, top)[0])

    force, moment = (float(quad(strip, 0, 1.2, args=(power,))[0]) for power in (0, 1))
    source = "scipy.integrate.quad"
    outside(
        "force on half a tapered bay",
        stage="strength",
        source=source,
        ours=load.force_n,
        theirs=round(force, 6),
        within=1e-5,
        unit="N",
        digits=9,
    )
    outside(
        "its moment",
        stage="strength",
        source=source,
        ours=load.moment_nm,
        theirs=round(moment, 6),
        within=1e-5,
        unit="N m",
        digits=9,
    )


@given(st.floats(0.3, 3), st.floats(0, 0.2), st.floats(0, 0.4), st.floats(0, 1))
def test_lattice_never_adds_to_a_solid_face(top: float, base: float, lattice: float, factor: float) -> None:
    solid, open_top = (
        calculate_side_load(bay(base, base + top)),
        calculate_side_load(bay(base, base + top, lattice), factor),
    )
    assert open_top.force_n <= solid.force_n * (1 + 1e-12)
    assert open_top.moment_nm <= solid.moment_nm * (1 + 1e-12)


@given(st.floats(0.2, 3), st.floats(0.2, 3))
def test_two_sides_add_up(left: float, right: float) -> None:
    one, two = bay(0, left), bay(0, right)
    assert calculate_post_load([one, two]).moment_nm == pytest.approx(
        calculate_side_load(one).moment_nm + calculate_side_load(two).moment_nm
    )


def test_a_post_with_nothing_beside_it_carries_nothing() -> None:
    assert calculate_post_load([]).arm_m == 0


def test_a_root_that_is_not_bracketed_is_refused() -> None:
    with pytest.raises(ValueError, match="does not rise through zero"):
        find_rising_root(lambda x: x + 1, 0, 1)
