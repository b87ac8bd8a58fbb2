"""Load and moment of a post against plain statics and scipy's quadrature."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from fencing.strength.embedment import find_rising_root
from fencing.strength.loads import Side, calculate_post_load, calculate_side_load
from tests.checks.outside import Outside

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
