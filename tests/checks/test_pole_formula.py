"""Embedment of posts against the building code's formula in print, Broms' sheets, and scipy's roots.

Sources: IBC 1807.3.2 (Eq. 18-1, 18-2) with three calculation sheets and a forum's worked post; Broms 1964 with a sheet in print.
"""

from __future__ import annotations

from math import ceil, sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from fencing.strength.embedment import (
    CAP_M,
    PSF_PER_FT,
    SOILS,
    calculate_constrained_m,
    calculate_diagonal_width,
    calculate_nonconstrained_m,
    calculate_trial_depth_m,
)
from fencing.strength.footing import (
    SoilInputs,
    calculate_clay_capacity,
    calculate_clay_depth_m,
    calculate_needed_mm,
    calculate_passive_coefficient,
    calculate_sand_capacity,
    calculate_second_needed_mm,
)
from fencing.strength.loads import Load
from tests.checks.outside import Outside

POLE = "IBC 2009 Eq. 18-1 sheet in print, light pole 8 m"
SIGN = "eng-tips.com thread 266547 (IBC 2006)"
FLAG = "IBC 2021 flagpole embedment sheet in print"
SCRIPT = "public IBC 2024 script (inputs), computed"
ALGEBRA = "IBC Eq. 18-1, computed"
BROMS = "Broms' method sheet in print (pdfcoffee.com)"
CLAY = "Broms 1964, closed form, computed"
SAND = "Broms 1964, sand (formula from memory), computed"
UNITS = "definitions of pound, foot and gravity"
FOOT, LB, PSF, PCF = 0.3048, 4.4482216152605e-3, 0.047880259, PSF_PER_FT


def feet(depth_m: float) -> float:
    return depth_m / FOOT


def test_units(outside: Outside) -> None:
    outside(
        "1 psf per ft in kPa/m",
        stage="footing",
        source=UNITS,
        ours=PSF_PER_FT,
        theirs=0.157087,
        within=1e-6,
        unit="kPa/m",
    )
    outside("12 ft", stage="footing", source=UNITS, ours=CAP_M, theirs=3.6576, unit="m")


@pytest.mark.parametrize(
    ("soil", "printed"), [("rock", 188.4), ("weak_rock", 62.8), ("gravel", 31.4), ("sand", 23.55), ("clay", 15.7)]
)
def test_presumptive_classes(outside: Outside, soil: str, printed: float) -> None:
    source = "IBC 2012 Table 1806.2, SI by its printed factor 0.157"
    ours = SOILS[soil].lateral_kpa_m
    outside(
        f"lateral bearing, {soil}",
        stage="footing",
        source=source,
        ours=ours,
        theirs=printed,
        within=1e-3,
        relative=True,
        unit="kPa/m",
    )


def test_soft_ground_has_no_presumptive_value() -> None:
    assert SOILS["soft"].lateral_kpa_m is None
    assert SOILS["fill"].lateral_kpa_m is None


def test_a_light_pole_in_print(outside: Outside) -> None:
    ours = calculate_trial_depth_m(1.33, 8.0, calculate_diagonal_width(0.6), 31.4 * 1.55 / 3)
    outside("depth at a trial of 1.55 m", stage="footing", source=POLE, ours=ours, theirs=1.52, within=0.005, unit="m")
    converged = calculate_nonconstrained_m(1.33, 8.0, calculate_diagonal_width(0.6), 31.4)
    outside(
        "the same, converged", stage="footing", source=ALGEBRA, ours=converged, theirs=1.5315, within=1e-4, unit="m"
    )
    assert converged != pytest.approx(1.7301, abs=0.1)  # what the side in place of the diagonal gives


def test_a_sign_post_in_print(outside: Outside) -> None:
    ours = feet(calculate_nonconstrained_m(480 * LB, 5 * FOOT, 1.5 * FOOT, 100 * PCF))
    outside("sign post, almost 6.5 ft", stage="footing", source=SIGN, ours=ours, theirs=6.44, within=0.05, unit="ft")
    doubled = feet(calculate_nonconstrained_m(480 * LB, 5 * FOOT, 1.5 * FOOT, 200 * PCF))
    outside(
        "the same with doubled bearing",
        stage="footing",
        source=ALGEBRA,
        ours=doubled,
        theirs=4.8769,
        within=1e-3,
        unit="ft",
    )
    assert ours > 2 * 3.165  # what the pressure at the full depth instead of a third of it gives


def test_a_flagpole_held_at_the_ground_in_print(outside: Outside) -> None:
    ours = feet(
        calculate_constrained_m(33700 * LB * 39.4 * FOOT, calculate_diagonal_width(126 / 12) * FOOT, 150 * 1.33 * PCF)
    )
    outside(
        "flagpole, the 12 ft cap bites", stage="footing", source=FLAG, ours=ours, theirs=12.60, within=0.005, unit="ft"
    )


def test_a_post_both_held_and_not(outside: Outside) -> None:
    free = feet(calculate_nonconstrained_m(696 * LB, 4 * FOOT, FOOT, 2 * 1.33 * 400 * PCF))
    held = feet(calculate_constrained_m(696 * 4 * LB * FOOT, FOOT, 1.33 * 400 * PCF))
    outside(
        "nothing holds it, doubled", stage="footing", source=SCRIPT, ours=free, theirs=3.2726, within=2e-3, unit="ft"
    )
    outside(
        "held at the ground, not doubled",
        stage="footing",
        source=SCRIPT,
        ours=held,
        theirs=2.8122,
        within=2e-3,
        unit="ft",
    )


@pytest.mark.parametrize(
    ("bearing", "single", "doubled"), [(15.7, 2.0925, 1.5584), (23.5, 1.7609, 1.3179), (31.4, 1.5584, 1.1704)]
)
def test_a_fence_post_in_three_soils(outside: Outside, bearing: float, single: float, doubled: float) -> None:
    for factor, theirs in ((1, single), (2, doubled)):
        ours = calculate_nonconstrained_m(2.0, 0.9, 0.30, bearing * factor)
        what = f"2 kN at 0.9 m, hole 0.3 m, {bearing} kPa/m x {factor}"
        outside(what, stage="footing", source=ALGEBRA, ours=ours, theirs=theirs, within=1e-3, unit="m")


def test_the_cap_makes_a_deep_post_deeper(outside: Outside) -> None:
    ours = feet(calculate_nonconstrained_m(5000 * LB, 10 * FOOT, 1.5 * FOOT, 100 * PCF))
    outside(
        "5000 lb at 10 ft, capped", stage="footing", source=ALGEBRA, ours=ours, theirs=27.289, within=1e-2, unit="ft"
    )
    assert ours > 19.160  # uncapped


forces, arms = st.floats(0.1, 20), st.floats(0.1, 3)
widths, bearings = st.floats(0.15, 1.0), st.floats(15.7, 63)


@given(forces, arms, widths, bearings)
def test_the_answer_satisfies_the_code_s_own_equation(force: float, arm: float, width: float, bearing: float) -> None:
    d = calculate_nonconstrained_m(force, arm, width, bearing)
    a = 2.34 * force / (bearing * min(d, CAP_M) / 3 * width)
    assert d**2 - a * d - 1.09 * a * arm == pytest.approx(0, abs=1e-6 * d**2)


@given(forces, arms, widths, bearings)
def test_depth_grows_with_load_and_arm_and_falls_with_width_and_soil(
    force: float, arm: float, width: float, bearing: float
) -> None:
    d = calculate_nonconstrained_m(force, arm, width, bearing)
    assert calculate_nonconstrained_m(force * 1.1, arm, width, bearing) > d
    assert calculate_nonconstrained_m(force, arm * 1.1, width, bearing) > d
    assert calculate_nonconstrained_m(force, arm, width * 1.1, bearing) < d
    assert calculate_nonconstrained_m(force, arm, width * 2, bearing) == pytest.approx(
        calculate_nonconstrained_m(force, arm, width, bearing * 2)
    )


@pytest.mark.parametrize("force_kn", [0.0, 1.9e-17, 1e-12])
def test_what_float_sums_leave_of_no_load_needs_no_ground(force_kn: float) -> None:
    sand = SoilInputs("sand", 23.56, friction_deg=30, unit_weight_kn_m3=18, safety_factor=2)
    load = Load(force_kn * 1000, force_kn * 20)
    assert calculate_nonconstrained_m(force_kn, 0.02, 0.45, 23.56) < 1e-4
    assert calculate_needed_mm(load, 0.45, sand) in (0, 1)
    assert calculate_second_needed_mm(load, 0.45, sand) in (0, 1)


def test_our_root_is_scipy_s_root(outside: Outside) -> None:
    def residual(d: float) -> float:
        return 15.7 * 0.3 / 3 * d**3 - 2.34 * 2 * d - 1.09 * 2.34 * 2 * 0.9

    theirs = round(float(brentq(residual, 0.1, 10, xtol=1e-14)), 10)
    ours = calculate_nonconstrained_m(2.0, 0.9, 0.30, 15.7)
    outside(
        "root of the cubic",
        stage="footing",
        source="scipy.optimize.brentq",
        ours=ours,
        theirs=theirs,
        within=1e-9,
        unit="m",
        digits=10,
    )


def test_broms_depths_are_scipy_s_roots(outside: Outside) -> None:
    source = "scipy.optimize.brentq"
    clay = float(brentq(lambda depth: calculate_clay_capacity(50, 0.3, depth, 0.9).force_kn - 2.0, 0.46, 5, xtol=1e-14))
    ours = calculate_clay_depth_m(2.0, 50, 0.3, 0.9)
    outside("depth in clay for 2 kN", stage="footing", source=source, ours=ours, theirs=round(clay, 9), within=1e-8, unit="m",
            digits=9)  # fmt: skip
    ground = SoilInputs("sand", None, friction_deg=30, unit_weight_kn_m3=18, safety_factor=1)
    sand = float(
        brentq(lambda depth: calculate_sand_capacity(18, 30, 0.3, depth, 0.9).force_kn - 2.0, 0.1, 5, xtol=1e-14)
    )
    needed = calculate_second_needed_mm(Load(2000.0, 1800.0), 0.3, ground)
    outside("depth in sand for 2 kN, rounded up", stage="footing", source=source, ours=needed, theirs=ceil(sand * 1000),
            unit="mm")  # fmt: skip


def test_broms_sheet_in_print(outside: Outside) -> None:
    depth = calculate_clay_depth_m(13.6, 50, 0.75, 7.5)
    capacity = calculate_clay_capacity(50, 0.75, depth, 7.5)
    outside("depth in clay", stage="footing", source=BROMS, ours=depth, theirs=2.35, within=0.005, unit="m")
    outside(
        "greatest moment",
        stage="footing",
        source=BROMS,
        ours=capacity.moment_knm,
        theirs=117.57,
        within=0.005,
        unit="kN m",
        digits=7,
    )
    outside(
        "force back from the depth",
        stage="footing",
        source=CLAY,
        ours=capacity.force_kn,
        theirs=13.6,
        within=1e-6,
        unit="kN",
    )


@pytest.mark.parametrize(
    ("strength", "width", "depth", "arm", "force", "moment"),
    [
        (50, 0.30, 0.75, 0.90, 2.0200, 2.7421),
        (25, 0.30, 0.90, 0.90, 2.1587, 2.9487),
        (100, 0.25, 0.60, 1.0, 1.9117, 2.6367),
    ],
)
def test_broms_in_clay(
    outside: Outside, strength: float, width: float, depth: float, arm: float, force: float, moment: float
) -> None:
    ours = calculate_clay_capacity(strength, width, depth, arm)
    outside(
        f"force, cu {strength} kPa, {width} x {depth} m",
        stage="footing",
        source=CLAY,
        ours=ours.force_kn,
        theirs=force,
        within=1e-3,
        unit="kN",
    )
    outside(
        f"moment, cu {strength} kPa, {width} x {depth} m",
        stage="footing",
        source=CLAY,
        ours=ours.moment_knm,
        theirs=moment,
        within=1e-3,
        unit="kN m",
    )


@pytest.mark.parametrize(
    ("weight", "width", "depth", "arm", "phi", "kp", "force", "moment"),
    [
        (18, 0.30, 0.75, 0.90, 30, 3.0, 2.0710, 2.2670),
        (17, 0.30, 0.90, 0.90, 33, 3.3921, 3.5032, 4.0110),
        (19, 0.25, 0.60, 1.0, 36, 3.8518, 1.2350, 1.4097),
    ],
)
def test_broms_in_sand(
    outside: Outside,
    weight: float,
    width: float,
    depth: float,
    arm: float,
    phi: float,
    kp: float,
    force: float,
    moment: float,
) -> None:
    ours = calculate_sand_capacity(weight, phi, width, depth, arm)
    outside(
        f"Kp, phi {phi}", stage="footing", source=SAND, ours=calculate_passive_coefficient(phi), theirs=kp, within=1e-4
    )
    outside(f"force, phi {phi}", stage="footing", source=SAND, ours=ours.force_kn, theirs=force, within=1e-3, unit="kN")
    outside(
        f"moment, phi {phi}",
        stage="footing",
        source=SAND,
        ours=ours.moment_knm,
        theirs=moment,
        within=1e-3,
        unit="kN m",
    )


@pytest.mark.parametrize(("arm", "right", "misprint"), [(0.5, 8.232, -161.3), (1.0, 5.881, 5.881), (2.0, 3.737, 743.2)])
def test_a_published_misprint_is_not_followed(outside: Outside, arm: float, right: float, misprint: float) -> None:
    """B1/VM4 Amendment 8 printed a lever arm too many after the root: it vanishes at an arm of 1 m alone."""
    source = "B1/VM4 Amd 8 erratum (minhousing.govt.nz codewords 39-6), computed"
    ours = calculate_clay_capacity(50, 0.3, 1.0, arm).force_kn
    outside(f"cu 50 kPa, arm {arm} m", stage="footing", source=source, ours=ours, theirs=right, within=1e-3, unit="kN")
    root = sqrt(2 * ((arm + 1.0) ** 2 + (arm + 0.45) ** 2))
    wrong = 9 * 50 * 0.3 * (root * arm - (2 * arm + 0.45 + 1.0))
    assert wrong == pytest.approx(misprint, rel=1e-3)
