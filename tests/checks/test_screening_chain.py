"""The whole screening, from a measured job to a verdict, against published pressures and formulas chained by hand."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

from fencing.model.measure import Form, Layout, Measure, MeasureBasis, Run, StrengthRequest
from fencing.model.system import Profile, Steel
from fencing.quantities.take_off import take_off
from fencing.strength.embedment import PSF_PER_FT, calculate_nonconstrained_m
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
