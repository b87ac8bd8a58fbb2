"""Wind on a free-standing wall by AS/NZS 1170.2: Appendix B, Table B.2 in 2021 (Appendix D, Table D.2 in 2011)."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, log10

from fencing.strength.wind import Wall, Zone, build_eccentric_zones, interpolate

AIR_KG_M3 = 1.2
SPEED_MIN_M_S = 30.0
# VR = a - b R^-0.1, rounded to 1 m/s
REGIONS: dict[str, tuple[float, float]] = {
    "A": (67, 41), "B": (106, 92), "C": (122, 104), "D": (156, 142),
    "NZ1": (61, 30), "NZ2": (61, 30), "NZ3": (71, 34), "NZ4": (63, 25),
}  # fmt: skip
CLIMATE: dict[str, float] = {"C": 1.05, "D": 1.05}
TERRAIN: dict[str, float] = {"1": 0.97, "2": 0.91, "2.5": 0.87, "3": 0.83, "4": 0.75}  # Mz,cat at 3 m and below
SHIELDING = ((1.5, 0.7), (3.0, 0.8), (6.0, 0.9), (12.0, 1.0))


def calculate_regional_speed_m_s(region: str, years: int) -> int:
    """Return the regional gust speed VR [m/s] of ``region`` for an average recurrence of ``years`` [5 to 2500].

    Source: AS/NZS 1170.2:2021 Table 3.1 (formulae, second hand).

    Example:
        >>> [calculate_regional_speed_m_s("A", years) for years in (25, 50, 100, 500)]
        [37, 39, 41, 45]
    """
    a, b = REGIONS[region]
    return int(a - b * years**-0.1 + 0.5)


def find_shielding(spacing: float) -> float:
    """Return the shielding multiplier Ms for the parameter s [0 or more].

    Source: AS/NZS 1170.2:2021 Table 4.2 (second hand).

    Example:
        >>> find_shielding(3.0), round(find_shielding(4.5), 9)
        (0.8, 0.85)
    """
    return interpolate(SHIELDING, spacing)


def calculate_site_speed_m_s(
    regional_m_s: float, direction: float, terrain: float, shield: float = 1.0, topography: float = 1.0
) -> float:
    """Calculate the site wind speed Vsit = VR Md (Mz,cat Ms Mt).

    Args:
        regional_m_s: regional speed, climate change multiplier included [m/s].
        direction: direction multiplier Md.
        terrain: terrain multiplier Mz,cat.
        shield: shielding multiplier Ms.
        topography: topographic multiplier Mt.

    Returns:
        Speed [m/s], not yet held at its least of 30.

    Source: AS/NZS 1170.2:2021 Eq. 2.2.

    Example:
        >>> round(calculate_site_speed_m_s(45, 0.95, 0.83, 0.85), 1)
        30.2
    """
    return regional_m_s * direction * terrain * shield * topography


def calculate_net_coefficient(length_m: float, face_m: float, top_m: float) -> float:
    """Return the net pressure coefficient Cp,n for wind square to the wall.

    Args:
        length_m: length b [m].
        face_m: height of the face c [m].
        top_m: height of its top above ground h [m].

    Returns:
        Cp,n (dimensionless).

    Source: AS/NZS 1170.2:2021 Table B.2(A) (two agreeing second-hand readings).

    Example:
        >>> calculate_net_coefficient(30, 1.8, 1.8), round(calculate_net_coefficient(3, 1.8, 1.8), 5)
        (1.2, 1.24782)
    """
    slender, reach = length_m / face_m, face_m / top_m
    if reach < 0.2:
        return 1.4 + 0.3 * log10(slender)
    if slender > 5:
        return 1.7 - 0.5 * reach
    return 1.3 + 0.5 * (0.3 + log10(slender)) * (0.8 - reach)


def find_end_coefficients(face_m: float, top_m: float, *, cornered: bool = False) -> tuple[float, float, float]:
    """Return Cp,n for wind at 45 degrees to a long wall: to 2, to 4 and beyond 4 face heights from the windward end.

    Args:
        face_m: height of the face c [m].
        top_m: height of its top above ground h [m].
        cornered: whether a return corner longer than one height is at that end.

    Source: AS/NZS 1170.2:2021 Table B.2(B); lower first value beside a return corner longer than one height (from memory).

    Example:
        >>> find_end_coefficients(1.8, 1.8), find_end_coefficients(1.0, 2.0)
        ((2.4, 1.2, 0.6), (3.0, 1.5, 0.75))
    """
    if face_m / top_m > 0.7:
        return (1.8 if cornered else 2.4, 1.2, 0.6)
    return (2.2 if cornered else 3.0, 1.5, 0.75)


def calculate_porosity_factor(solidity: float) -> float:
    """Return Kp = 1 - (1 - delta)^2 for the solid share delta of the face [0 to 1]. Source: AS/NZS 1170.2:2021 Eq. B.1.

    Example:
        >>> [round(calculate_porosity_factor(share), 4) for share in (1, 0.8, 0.65, 0.5, 0.4)]
        [1, 0.96, 0.8775, 0.75, 0.64]
    """
    return 1 - (1 - solidity) ** 2


def calculate_pressure_pa(speed_m_s: float, coefficient: float) -> float:
    """Return the net pressure 0.5 rho V^2 C [Pa], rho 1.2 kg/m3, Cdyn 1. Source: AS/NZS 1170.2:2021 clause 2.4.

    Example:
        >>> round(calculate_pressure_pa(45 * 0.83, 1.2), 2)
        1004.42
    """
    return 0.5 * AIR_KG_M3 * speed_m_s**2 * coefficient


@dataclass(frozen=True, slots=True)
class AsNzs:
    """The AS/NZS 1170.2 method with the design speed at the top of the fence [m/s], at least 30."""

    speed_m_s: float
    footing_factor: float = 1.0
    name: str = "as-nzs-1170.2"
    title: str = "AS/NZS 1170.2:2021, Appendix B, free-standing walls"
    arm: float = 1.0
    section_factor: float = 1.0

    def find_zones(self, wall: Wall) -> tuple[Zone, ...]:
        """Return the greater of wind square to the fence and wind at 45 degrees, by distance from the end [m, Pa].

        Source: AS/NZS 1170.2:2021 Table B.2.

        Example: 0.5 x 1.2 x 40^2 = 960 Pa, 2.4 times that to two heights, 1.2 times beyond:

            >>> [(zone.upto_m, zone.pressure_pa) for zone in AsNzs(40).find_zones(Wall(2.0, 40.0))]
            [(4.0, 2304.0), (8.0, 1152.0), (inf, 1152.0)]
        """
        h = wall.height_m
        square = calculate_net_coefficient(wall.length_m, h, h)
        speed = max(self.speed_m_s, SPEED_MIN_M_S)
        if wall.length_m <= 5 * h:
            return build_eccentric_zones(calculate_pressure_pa(speed, square), wall.length_m, 0.2)
        first, second, _ = find_end_coefficients(h, h, cornered=wall.return_m > h)
        values = ((2 * h, max(first, square)), (4 * h, max(second, square)), (inf, square))
        return tuple(Zone(upto, calculate_pressure_pa(speed, value)) for upto, value in values)

    def find_porosity_factor(self, solidity: float) -> float:
        """Return Kp of the lattice's own area [solidity 0 to 1]. Source: AS/NZS 1170.2:2021 Eq. B.1.

        >>> AsNzs(40).find_porosity_factor(0.5)
        0.75
        """
        return calculate_porosity_factor(solidity)

    def list_remarks(self) -> tuple[str, ...]:
        """Return what a reader must know about the method; speeds are [m/s].

        >>> AsNzs(25).list_remarks()[1]
        'The design speed is held at 30 m/s, the least the standard allows.'
        """
        held = (
            "The design speed is held at 30 m/s, the least the standard allows."
            if self.speed_m_s < SPEED_MIN_M_S
            else ""
        )
        return tuple(filter(None, ("The footing is screened at the stated share of the load on the post.", held)))
