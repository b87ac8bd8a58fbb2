"""Wind on free-standing walls against three standards and their published examples.

Sources: AS/NZS 1170.2:2021 Table B.2 and Holmes & King's guide; EN 1991-1-4 Table 7.9 and a verification test that was itself
checked against a public calculator; ASCE 7-16 Figure 29.3-1, its commentary's fit, and three calculation sheets in print.
"""

from __future__ import annotations

from math import log

import pytest

from fencing.strength.wind import Wall, interpolate
from fencing.strength.wind_as_nzs import (
    CLIMATE,
    SPEED_MIN_M_S,
    AsNzs,
    calculate_net_coefficient,
    calculate_porosity_factor,
    calculate_pressure_pa,
    calculate_regional_speed_m_s,
    calculate_site_speed_m_s,
    find_shielding,
)
from fencing.strength.wind_as_nzs import TERRAIN as AS_TERRAIN
from fencing.strength.wind_as_nzs import find_end_coefficients as as_ends
from fencing.strength.wind_asce import (
    ASPECTS,
    CASE_AB,
    Asce,
    calculate_exposure_coefficient,
    calculate_velocity_pressure_psf,
    find_end_coefficients,
    find_force_coefficient,
)
from fencing.strength.wind_en import En, calculate_peak_pressure_pa, calculate_probability_factor, find_net_coefficients
from tests.checks.outside import Outside

AS = "AS/NZS 1170.2:2021 Table B.2 (second hand), computed"
GUIDE = "Holmes & King, A Guide to AS/NZS 1170.2, ch. 5 example 1"
REGIONS = "AS/NZS 1170.2:2021 Table 3.1 (second hand)"
EN = "EN 1991-1-4 Table 7.9, interpolated, computed"
XC = "xcfem/xc verification test, checked there against a public calculator"
QP = "EN 1991-1-4 Eq. 4.3-4.8, computed"
FIT = "ASCE 7 commentary C29.3.1, fit to the figure"
SHEET_05 = "ASCE 7-05 sign sheet in print (SignWind)"
SHEET_10 = "ASCE 7-10 sign sheet in print (SIGN-CALCULATOR)"
FENCE = "ASCE 7-16 Figure 29.3-1, 6 x 120 ft fence, computed"


def test_site_wind_speeds_by_direction(outside: Outside) -> None:
    ours = [
        round(calculate_site_speed_m_s(45, md, 0.83, 0.85), 1)
        for md in (0.80, 0.80, 0.80, 0.95, 0.90, 0.95, 1.00, 0.95)
    ]
    theirs = [25.4, 25.4, 25.4, 30.2, 28.6, 30.2, 31.7, 30.2]
    outside("site wind speeds N to NW", stage="wind", source=GUIDE, ours=ours, theirs=theirs, unit="m/s")


@pytest.mark.parametrize(
    ("region", "speeds"),
    [("A", [37, 39, 41, 45]), ("B", [39, 44, 48, 57]), ("C", [47, 52, 56, 66]), ("D", [53, 60, 66, 80]),
     ("NZ1", [39, 41, 42, 45]), ("NZ2", [39, 41, 42, 45]), ("NZ3", [46, 48, 50, 53]), ("NZ4", [45, 46, 47, 50])],
)  # fmt: skip
def test_regional_speeds(outside: Outside, region: str, speeds: list[int]) -> None:
    ours = [calculate_regional_speed_m_s(region, years) for years in (25, 50, 100, 500)]
    outside(f"regional speeds, region {region}", stage="wind", source=REGIONS, ours=ours, theirs=speeds, unit="m/s")


@pytest.mark.parametrize(
    ("length", "face", "top", "theirs", "within"),
    [
        (30, 1.8, 1.8, 1.2, 1e-9),
        (3, 1.8, 1.8, 1.24782, 1e-5),
        (9, 1.8, 1.8, 1.20010, 1e-4),
        (4, 2, 5, 1.42021, 1e-5),
        (2.5, 1, 2, 1.40469, 1e-5),
        (10, 1, 10, 1.2 + 0.5, 1e-9),
    ],
)
def test_net_pressure_coefficients(
    outside: Outside, length: float, face: float, top: float, theirs: float, within: float
) -> None:
    what = f"Cp,n, b {length} c {face} h {top} m"
    outside(
        what, stage="wind", source=AS, ours=calculate_net_coefficient(length, face, top), theirs=theirs, within=within
    )


def test_the_coefficient_is_continuous_where_the_table_changes_rows() -> None:
    assert calculate_net_coefficient(9.0, 1.8, 1.8) == pytest.approx(
        calculate_net_coefficient(9.0001, 1.8, 1.8), abs=2e-4
    )


@pytest.mark.parametrize(
    ("what", "ours", "theirs"),
    [
        ("Mz,cat of terrain 1, 2, 2.5, 3, 4 at 3 m", [AS_TERRAIN[name] for name in ("1", "2", "2.5", "3", "4")],
         [0.97, 0.91, 0.87, 0.83, 0.75]),
        ("Ms at s 1.5, 3, 6, 12", [round(find_shielding(s), 9) for s in (1.5, 3, 6, 12)], [0.7, 0.8, 0.9, 1.0]),
        ("Mc of regions A, C, D", [CLIMATE.get(region, 1.0) for region in "ACD"], [1.0, 1.05, 1.05]),
        ("least design speed", [SPEED_MIN_M_S], [30]),
        ("Cp,n at 45 degrees, c/h 1", list(as_ends(1.8, 1.8)), [2.4, 1.2, 0.6]),
        ("Cp,n at 45 degrees, c/h 0.5", list(as_ends(1.0, 2.0)), [3.0, 1.5, 0.75]),
        ("first value beside a return corner (from memory)",
         [as_ends(1.8, 1.8, cornered=True)[0], as_ends(1.0, 2.0, cornered=True)[0]], [1.8, 2.2]),
    ],
)  # fmt: skip
def test_multipliers_and_end_values(outside: Outside, what: str, ours: list[float], theirs: list[float]) -> None:
    outside(what, stage="wind", source="AS/NZS 1170.2:2021 (second hand)", ours=ours, theirs=theirs)


def test_a_slow_wind_is_held_at_the_least_speed() -> None:
    assert AsNzs(12.0).find_zones(Wall(1.8, 30)) == AsNzs(SPEED_MIN_M_S).find_zones(Wall(1.8, 30))


def test_the_first_two_heights_from_a_free_end_take_double(outside: Outside) -> None:
    ours = [end / calculate_net_coefficient(30, 1.8, 1.8) for end in as_ends(1.8, 1.8)[:2]]
    outside("end zone to middle, long wall on the ground", stage="wind", source=AS, ours=ours, theirs=[2.0, 1.0])


def test_porosity_factors(outside: Outside) -> None:
    ours = [round(calculate_porosity_factor(share), 9) for share in (1, 0.8, 0.65, 0.5, 0.4)]
    outside(
        "Kp of five solidities",
        stage="wind",
        source="AS/NZS 1170.2:2021 Eq. B.1",
        ours=ours,
        theirs=[1, 0.96, 0.8775, 0.75, 0.64],
    )


@pytest.mark.parametrize(("coefficient", "pascal"), [(1.2, 1004.42), (2.4, 2008.83), (0.6, 502.21)])
def test_pressures_in_an_ordinary_suburb(outside: Outside, coefficient: float, pascal: float) -> None:
    ours = calculate_pressure_pa(45 * 0.83, coefficient)
    outside(
        f"pressure at 37.35 m/s, Cp,n {coefficient}",
        stage="wind",
        source=AS,
        ours=ours,
        theirs=pascal,
        within=0.01,
        unit="Pa",
    )


def test_a_wall_on_a_building_by_the_european_standard(outside: Outside) -> None:
    speed = 26 * calculate_probability_factor(5)
    peak = calculate_peak_pressure_pa(speed, 10, "III")
    outside(
        "basic speed, return period 5 years",
        stage="wind",
        source=XC,
        ours=speed,
        theirs=22.2170,
        within=1e-4,
        unit="m/s",
    )
    for zone, coefficient, pascal in zip("ABCD", find_net_coefficients(5), (1530, 949, 738, 633), strict=True):
        what = f"net pressure, zone {zone}"
        outside(
            what, stage="wind", source=XC, ours=peak * coefficient, theirs=pascal, within=1e-3, relative=True, unit="Pa"
        )


@pytest.mark.parametrize(
    ("what", "ours", "theirs"),
    [
        ("zone A at l/h 2, 4, 7.5, 20", [find_net_coefficients(x)[0] for x in (2, 4, 7.5, 20)], [2.3, 2.6, 3.15, 3.4]),
        ("zone B at l/h 2, 4, 7.5, 20", [find_net_coefficients(x)[1] for x in (2, 4, 7.5, 20)], [1.4, 1.6, 1.95, 2.1]),
        ("zone C at l/h 2, 4, 7.5, 20", [find_net_coefficients(x)[2] for x in (2, 4, 7.5, 20)], [1.2, 1.3, 1.55, 1.7]),
        ("zones at solidity 0.9, l/h 10", list(find_net_coefficients(10, 0.9)), [2.3, 1.65, 1.45, 1.2]),
        ("zones with a return of half a height, l/h 5", list(find_net_coefficients(5, 1, 0.5)), [2.5, 1.8, 1.4, 1.2]),
    ],
)
def test_coefficients_between_the_rows(outside: Outside, what: str, ours: list[float], theirs: list[float]) -> None:
    outside(what, stage="wind", source=EN, ours=[round(value, 9) for value in ours], theirs=theirs)


CASE_C_ROWS: dict[str, tuple[int, list[float]]] = {
    # from B/s 2, 3 and 4 on, where the wall is long enough for the zone
    "0 to s": (0, [2.25, 2.60, 2.90, 3.10, 3.30, 3.40, 3.55, 3.65, 3.75, 4.00, 4.30]),
    "s to 2s": (1, [1.50, 1.70, 1.90, 2.00, 2.15, 2.25, 2.30, 2.35, 2.45, 2.60, 2.55]),
    "2s to 3s": (2, [1.15, 1.30, 1.45, 1.55, 1.65, 1.70, 1.75, 1.85, 2.00, 1.95]),
    "3s to 4s": (3, [1.10, 1.05, 1.05, 1.05, 1.05, 1.00, 0.95, 1.50, 1.85]),
    "4s to 5s": (4, [1.35, 1.85]),
    "5s to 10s": (5, [0.90, 1.10]),
    "beyond 10s": (6, [0.55, 0.55]),
}


@pytest.mark.parametrize("zone", CASE_C_ROWS)
def test_every_cell_of_case_c(outside: Outside, zone: str) -> None:
    place, theirs = CASE_C_ROWS[zone]
    aspects = (2, 3, 4, 5, 6, 7, 8, 9, 10, 13, 45)[-len(theirs) :]
    ours = [find_end_coefficients(aspect, 0.8)[place] for aspect in aspects]
    what = f"case C, {zone}, B/s from {aspects[0]}"
    outside(what, stage="wind", source="ASCE 7-16 Figure 29.3-1, case C (second hand)", ours=ours, theirs=theirs)


def test_the_corners_of_the_european_table(outside: Outside) -> None:
    source = "EN 1991-1-4 Table 7.9 (second hand)"
    for what, ours, theirs in (
        ("l/h 3", find_net_coefficients(3), [2.3, 1.4, 1.2, 1.2]),
        ("l/h 5", find_net_coefficients(5), [2.9, 1.8, 1.4, 1.2]),
        ("l/h 10", find_net_coefficients(10), [3.4, 2.1, 1.7, 1.2]),
        ("return of a height, l/h 10", find_net_coefficients(10, 1, 1), [2.1, 1.8, 1.4, 1.2]),
        ("solidity 0.8, l/h 10", find_net_coefficients(10, 0.8), [1.2, 1.2, 1.2, 1.2]),
    ):
        outside(
            f"zones A to D, {what}", stage="wind", source=source, ours=[round(item, 9) for item in ours], theirs=theirs
        )


def test_zones_of_the_european_wall_reach_as_far_as_the_standard_has_them(outside: Outside) -> None:
    ours = [round(zone.upto_m / 2, 9) for zone in En(24, "II").find_zones(Wall(2, 30))[:3]]
    source = "EN 1991-1-4 Figure 7.19 (from memory)"
    outside("zones A, B, C end at these heights", stage="wind", source=source, ours=ours, theirs=[0.3, 2.0, 4.0])


def test_zones_of_the_other_standards_reach_as_far_as_theirs(outside: Outside) -> None:
    ours = [round(zone.upto_m / 2, 9) for zone in AsNzs(40).find_zones(Wall(2, 30))[:2]]
    source = "AS/NZS 1170.2:2021 Table B.2 (second hand)"
    outside("first zones end at these heights", stage="wind", source=source, ours=ours, theirs=[2.0, 4.0])
    ours = [round(zone.upto_m / 2, 9) for zone in Asce(50, "C").find_zones(Wall(2, 30))[:6]]
    source = "ASCE 7-16 Figure 29.3-1, case C (second hand)"
    outside("zones end at these heights", stage="wind", source=source, ours=ours, theirs=[1, 2, 3, 4, 5, 10])


@pytest.mark.parametrize(
    ("speed", "height", "terrain", "pascal"),
    [(24, 2, "II", 512.43), (26, 1.8, "III", 541.16), (22, 1.8, "IV", 355.79), (27, 2, "I", 855.55)],
)
def test_peak_velocity_pressures(outside: Outside, speed: float, height: float, terrain: str, pascal: float) -> None:
    ours = calculate_peak_pressure_pa(speed, height, terrain)
    outside(
        f"peak pressure, {speed} m/s, terrain {terrain}",
        stage="wind",
        source=QP,
        ours=ours,
        theirs=pascal,
        within=0.01,
        unit="Pa",
    )


def test_every_cell_of_the_american_figure_agrees_with_its_commentary(outside: Outside) -> None:
    agreed = 0
    for clearance, row in CASE_AB:
        for aspect, cell in zip(ASPECTS, row, strict=True):
            x = log(aspect)
            fit = (
                1.563
                + 0.008542 * x
                - 0.06148 * clearance
                + 0.009011 * x**2
                - 0.2603 * clearance**2
                - 0.08393 * clearance * x
            )
            agreed += round(fit / 0.85 * 20) / 20 == cell
    outside("cells of cases A and B that agree", stage="wind", source=FIT, ours=agreed, theirs=84)


def test_a_sign_of_the_2005_edition_in_print(outside: Outside) -> None:
    pressure = 17.80  # psf, as that edition's table of Kz gives it
    force = pressure * 0.85 * find_force_coefficient(100 / 8, 8 / 35) * 800 / 1000
    outside(
        "force on a sign 100 x 8 ft",
        stage="wind",
        source=SHEET_05,
        ours=force,
        theirs=22.37,
        within=2e-4,
        relative=True,
        unit="kip",
    )
    outside(
        "its moment at the ground",
        stage="wind",
        source=SHEET_05,
        ours=force * 31,
        theirs=693.57,
        within=2e-4,
        relative=True,
        unit="ft kip",
    )
    # the sheet eases the end for a return of a quarter of the height too; we do not, as the table begins at 0.3
    assert find_end_coefficients(100 / 8, 8 / 35, 2 / 8) == find_end_coefficients(100 / 8, 8 / 35)
    worst = pressure * 0.85 * find_end_coefficients(100 / 8, 8 / 35)[0] * interpolate(((0.0, 1.0), (0.3, 0.9)), 2 / 8)
    outside(
        "greatest pressure, return of 2 ft", stage="wind", source=SHEET_05, ours=worst, theirs=55, within=1, unit="psf"
    )
    outside(
        "its torsion, case B",
        stage="wind",
        source=SHEET_05,
        ours=force * 20,
        theirs=447.46,
        within=2e-4,
        relative=True,
        unit="ft kip",
    )


def test_a_sign_of_the_2010_edition_in_print(outside: Outside) -> None:
    kz = calculate_exposure_coefficient(20, "D")
    pressure = calculate_velocity_pressure_psf(155, kz)
    force = pressure * 0.85 * find_force_coefficient(1, 3 / 20) * 7.48
    outside("Kz, exposure D, 20 ft", stage="wind", source=SHEET_10, ours=kz, theirs=1.083, within=5e-4)
    outside(
        "velocity pressure",
        stage="wind",
        source=SHEET_10,
        ours=pressure,
        theirs=56.62,
        within=1e-3,
        relative=True,
        unit="psf",
    )
    outside("force", stage="wind", source=SHEET_10, ours=force, theirs=648, within=1e-3, relative=True, unit="lb")
    allowable = force * Asce(1, "D").footing_factor
    outside(
        "force, allowable",
        stage="wind",
        source=SHEET_10,
        ours=allowable,
        theirs=389,
        within=1e-3,
        relative=True,
        unit="lb",
    )


def test_a_long_fence_by_the_american_standard(outside: Outside) -> None:
    q = calculate_velocity_pressure_psf(115, calculate_exposure_coefficient(6, "C"))
    middle = q * 0.85 * find_force_coefficient(20, 1)
    outside(
        "velocity pressure, 115 mph, exposure C",
        stage="wind",
        source=FENCE,
        ours=q,
        theirs=24.429,
        within=1e-3,
        unit="psf",
    )
    kz = calculate_exposure_coefficient(6, "C")
    outside("Kz, exposure C, under 15 ft", stage="wind", source=FENCE, ours=kz, theirs=0.84888, within=1e-5)
    outside("force on a foot", stage="wind", source=FENCE, ours=middle * 6, theirs=161.96, within=0.01, unit="lb/ft")
    outside("its moment at mid-height", stage="wind", source=FENCE, ours=middle * 48 * 3, theirs=3887.1, within=0.2,
            unit="lb ft", digits=7)  # fmt: skip
    outside("pressure, case A", stage="wind", source=FENCE, ours=middle, theirs=26.994, within=1e-3, unit="psf")
    outside(
        "force on a bay of 8 ft", stage="wind", source=FENCE, ours=middle * 48, theirs=1295.71, within=0.05, unit="lb"
    )
    outside(
        "its moment at 0.55 h",
        stage="wind",
        source=FENCE,
        ours=middle * 48 * 3.3,
        theirs=4275.8,
        within=0.2,
        unit="lb ft",
        digits=7,
    )
    ends = [round(value, 4) for value in find_end_coefficients(20)]
    outside(
        "case C, seven zones",
        stage="wind",
        source=FENCE,
        ours=ends,
        theirs=[3.2525, 2.0713, 1.5913, 1.2613, 1.1675, 0.755, 0.44],
    )


def test_a_return_corner_eases_the_first_zone(outside: Outside) -> None:
    ours = [
        round(find_end_coefficients(20, return_lengths=long)[0] / find_end_coefficients(20)[0], 9)
        for long in (0.3, 1, 2, 5)
    ]
    source = "ASCE 7-16 Figure 29.3-1, note on return corners (second hand)"
    outside("factor at 0.3, 1, 2, 5 lengths", stage="wind", source=source, ours=ours, theirs=[0.9, 0.75, 0.6, 0.6])


def test_a_return_corner_eases_the_first_zone_alone() -> None:
    free, turned = find_end_coefficients(20), find_end_coefficients(20, return_lengths=2)
    assert turned[0] == pytest.approx(free[0] * 0.60)
    assert turned[1:] == free[1:]
