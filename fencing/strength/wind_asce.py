"""Wind on a solid free-standing wall by ASCE 7-16, 29.3.1, Figure 29.3-1.

The calculation uses its units: mph, psf, ft.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf

from fencing.strength.wind import Wall, Zone, build_eccentric_zones, interpolate

PA_PER_PSF = 47.880259
MPH_PER_M_S = 1 / 0.44704
GUST = 0.85
EXPOSURE: dict[str, tuple[float, float]] = {"B": (7.0, 1200.0), "C": (9.5, 900.0), "D": (11.5, 700.0)}  # alpha, zg [ft]
ASPECTS = (0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 4.0, 5.0, 10.0, 20.0, 30.0, 45.0)  # B/s
# s/h and Cf for each of ASPECTS: cases A and B
CASE_AB: tuple[tuple[float, tuple[float, ...]], ...] = (
    (0.16, (1.95, 1.90, 1.85, 1.85, 1.80, 1.80, 1.85, 1.85, 1.85, 1.90, 1.90, 1.95)),
    (0.2, (1.95, 1.90, 1.85, 1.80, 1.80, 1.80, 1.80, 1.80, 1.85, 1.90, 1.90, 1.95)),
    (0.3, (1.95, 1.90, 1.85, 1.80, 1.80, 1.80, 1.80, 1.80, 1.80, 1.85, 1.85, 1.85)),
    (0.5, (1.95, 1.85, 1.80, 1.75, 1.75, 1.70, 1.70, 1.70, 1.70, 1.70, 1.70, 1.75)),
    (0.7, (1.90, 1.85, 1.75, 1.70, 1.65, 1.60, 1.60, 1.55, 1.55, 1.55, 1.55, 1.55)),
    (0.9, (1.85, 1.75, 1.70, 1.60, 1.55, 1.50, 1.45, 1.45, 1.40, 1.40, 1.40, 1.40)),
    (1.0, (1.80, 1.70, 1.65, 1.55, 1.45, 1.40, 1.35, 1.35, 1.30, 1.30, 1.30, 1.30)),
)
# Case C by B/s; zones 0-s, s-2s, 2s-3s, 3s-4s, 4s-5s, 5s-10s, beyond 10s; a zone beyond the wall's end repeats the one before
CASE_C: tuple[tuple[float, tuple[float, ...]], ...] = (
    (2, (2.25, 1.50, 1.15, 1.10, 1.10, 1.10, 1.10)),
    (3, (2.60, 1.70, 1.15, 1.10, 1.10, 1.10, 1.10)),
    (4, (2.90, 1.90, 1.30, 1.10, 1.10, 1.10, 1.10)),
    (5, (3.10, 2.00, 1.45, 1.05, 1.05, 1.05, 1.05)),
    (6, (3.30, 2.15, 1.55, 1.05, 1.05, 1.05, 1.05)),
    (7, (3.40, 2.25, 1.65, 1.05, 1.05, 1.05, 1.05)),
    (8, (3.55, 2.30, 1.70, 1.05, 1.05, 1.05, 1.05)),
    (9, (3.65, 2.35, 1.75, 1.00, 1.00, 1.00, 1.00)),
    (10, (3.75, 2.45, 1.85, 0.95, 0.95, 0.95, 0.95)),
    (13, (4.00, 2.60, 2.00, 1.50, 1.35, 0.90, 0.55)),
    (45, (4.30, 2.55, 1.95, 1.85, 1.85, 1.10, 0.55)),
)
ZONE_ENDS = (1.0, 2.0, 3.0, 4.0, 5.0, 10.0, inf)  # in s from the windward end
RETURN = (
    (0.3, 0.90),
    (1.0, 0.75),
    (2.0, 0.60),
)  # factor on the first zone by return length / s; none for a shorter one


def calculate_exposure_coefficient(height_ft: float, exposure: str) -> float:
    """Return the velocity pressure exposure coefficient Kz = 2.01 (max(z, 15) / zg)^(2 / alpha), z in [ft].

    Source: ASCE 7-16 Table 26.10-1.

    Example:
        >>> round(calculate_exposure_coefficient(6, "C"), 5)
        0.84888
    """
    alpha, gradient = EXPOSURE[exposure]
    return float(2.01 * (max(height_ft, 15.0) / gradient) ** (2 / alpha))


def calculate_velocity_pressure_psf(
    speed_mph: float, kz: float, topography: float = 1.0, elevation: float = 1.0
) -> float:
    """Return qh = 0.00256 Kz Kzt Kd Ke V^2 [psf], Kd 0.85, V in mph. Source: ASCE 7-16 Eq. 26.10-1.

    Example:
        >>> round(calculate_velocity_pressure_psf(155, 1.083), 2)
        56.62
    """
    return 0.00256 * kz * topography * 0.85 * elevation * speed_mph**2


def find_force_coefficient(aspect: float, clearance: float) -> float:
    """Return Cf of cases A and B by ``aspect`` B/s [0.05 to 45] and ``clearance`` s/h [0 to 1], linear in both.

    Source: ASCE 7-16 Figure 29.3-1 (second hand, checked cell by cell against the commentary's fit).

    Example:
        >>> find_force_coefficient(20, 1.0), round(find_force_coefficient(12.5, 8 / 35), 4)
        (1.3, 1.8482)
    """
    column = [(reach, interpolate(list(zip(ASPECTS, row, strict=True)), aspect)) for reach, row in CASE_AB]
    return interpolate(column, clearance)


def find_end_coefficients(aspect: float, clearance: float = 1.0, return_lengths: float = 0.0) -> tuple[float, ...]:
    """Return Cf of case C in its seven zones from the windward end, reductions included.

    Rule: linear in B/s; times (1.8 - s/h) where s/h is over 0.8; the first zone also times the return corner's factor.

    Args:
        aspect: B/s [2 or more].
        clearance: s/h [0 to 1; a wall on the ground 1].
        return_lengths: length of the return corner / s [0: none].

    Returns:
        Cf of 0-s, s-2s, 2s-3s, 3s-4s, 4s-5s, 5s-10s, beyond 10s.

    Source: ASCE 7-16 Figure 29.3-1, case C and its notes (second hand; the 1.8 - s/h rule from memory).

    Example:
        >>> [round(value, 4) for value in find_end_coefficients(20)]
        [3.2525, 2.0713, 1.5913, 1.2613, 1.1675, 0.755, 0.44]
    """
    near = 1.8 - clearance if clearance > 0.8 else 1.0
    turned = interpolate(RETURN, return_lengths) if aspect >= 5 and return_lengths >= RETURN[0][0] else 1.0
    rows: Sequence[tuple[float, tuple[float, ...]]] = CASE_C
    plain = [interpolate([(reach, row[zone]) for reach, row in rows], aspect) * near for zone in range(len(ZONE_ENDS))]
    return (plain[0] * turned, *plain[1:])


@dataclass(frozen=True, slots=True)
class Asce:
    """The ASCE 7 method: basic (strength level) wind speed [m/s], exposure "B", "C" or "D", topographic factor."""

    speed_m_s: float
    exposure: str
    topography: float = 1.0
    footing_factor: float = 0.6
    name: str = "asce-7"
    title: str = "ASCE 7-16, 29.3.1, solid free-standing walls"
    arm: float = 1.1  # a wall on the ground: resultant 0.05 h above mid-height (note to Figure 29.3-1)
    section_factor: float = 1.0

    def find_zones(self, wall: Wall) -> tuple[Zone, ...]:
        """Combine cases A and C (B for a wall shorter than two heights), by distance from the end [m, Pa].

        Source: ASCE 7-16, 29.3.1 and Figure 29.3-1.

        Example: zones end at 1, 2, 3, 4, 5 and 10 heights of 2 m:

            >>> [zone.upto_m for zone in Asce(50, "C").find_zones(Wall(2.0, 40.0))]
            [2.0, 4.0, 6.0, 8.0, 10.0, 20.0, inf]
        """
        q = calculate_velocity_pressure_psf(
            self.speed_m_s * MPH_PER_M_S,
            calculate_exposure_coefficient(wall.height_m / 0.3048, self.exposure),
            self.topography,
        )
        aspect = wall.length_m / wall.height_m
        plain = find_force_coefficient(aspect, 1.0)
        if aspect < 2:
            return build_eccentric_zones(q * GUST * plain * PA_PER_PSF, wall.length_m, 0.2)
        values = find_end_coefficients(aspect, 1.0, wall.return_m / wall.height_m)
        return tuple(
            Zone(reach * wall.height_m, q * GUST * max(plain, value) * PA_PER_PSF)
            for reach, value in zip(ZONE_ENDS, values, strict=True)
        )

    def find_porosity_factor(self, solidity: float) -> float:
        """Return 1 - (1 - solidity)^1.5 [solidity 0 to 1] on the lattice's own area.

        Source: note to ASCE 7-16 Figure 29.3-1.

        >>> round(Asce(50, "C").find_porosity_factor(0.75), 3)  # a quarter to the power of 1.5 is an eighth
        0.875
        """
        return float(1 - (1 - solidity) ** 1.5)

    def list_remarks(self) -> tuple[str, ...]:
        """Return what a reader must know about the method; load levels as a number of [times].

        >>> Asce(50, "C").list_remarks()[0][:54]
        'The footing is screened at 0.6 times the strength-leve'
        """
        return (
            f"The footing is screened at {self.footing_factor:g} times the strength-level load, the post at the whole of it.",
        )
