"""Wind on a free-standing wall by EN 1991-1-4:2005+A1:2010, clause 7.4.1, Table 7.9."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, log

from fencing.strength.wind import Wall, Zone, interpolate

AIR_KG_M3 = 1.25
# category: roughness length z0, least height zmin [m] (Table 4.1)
TERRAIN: dict[str, tuple[float, float]] = {
    "0": (0.003, 1),
    "I": (0.01, 1),
    "II": (0.05, 2),
    "III": (0.3, 5),
    "IV": (1.0, 10),
}
# net coefficients of zones A to D by length / height, solid wall without return corners
COEFFICIENTS = ((3.0, (2.3, 1.4, 1.2, 1.2)), (5.0, (2.9, 1.8, 1.4, 1.2)), (10.0, (3.4, 2.1, 1.7, 1.2)))
RETURNED = (2.1, 1.8, 1.4, 1.2)
POROUS = 1.2  # all zones at a solidity of 0.8
ZONE_ENDS = (0.3, 2.0, 4.0, inf)  # heights from the end


def calculate_probability_factor(years: int, shape: float = 0.2, exponent: float = 0.5) -> float:
    """Return cprob for a return period of ``years`` [years, over 1], relative to 50. Source: EN 1991-1-4 Eq. 4.2.

    Example:
        >>> round(calculate_probability_factor(5), 6)
        0.854501
    """

    def level(chance: float) -> float:
        return 1 - shape * log(-log(1 - chance))

    return float((level(1 / years) / level(1 / 50)) ** exponent)


def calculate_peak_pressure_pa(basic_m_s: float, height_m: float, terrain: str, orography: float = 1.0) -> float:
    """Calculate the peak velocity pressure at a height.

    Rule: kr = 0.19 (z0 / 0.05)^0.07; cr = kr ln(z / z0); Iv = 1 / ln(z / z0); qp = (1 + 7 Iv) 0.5 rho (cr c0 vb)^2,
    z at least zmin.

    Args:
        basic_m_s: basic wind speed vb [m/s].
        height_m: height z [m].
        terrain: category "0", "I", "II", "III" or "IV".
        orography: factor c0.

    Returns:
        Pressure [Pa].

    Source: EN 1991-1-4 Eq. 4.3 to 4.8, Table 4.1.

    Example:
        >>> round(calculate_peak_pressure_pa(24, 2, "II"), 2)
        512.43
    """
    roughness, least = TERRAIN[terrain]
    depth = log(max(height_m, least) / roughness)
    mean = 0.19 * (roughness / 0.05) ** 0.07 * depth * orography * basic_m_s
    return float((1 + 7 / depth) * 0.5 * AIR_KG_M3 * mean**2)


def find_net_coefficients(
    slenderness: float, solidity: float = 1.0, return_heights: float = 0.0
) -> tuple[float, float, float, float]:
    """Return net pressure coefficients of zones A, B, C, D.

    Rule: linear in length / height between 3, 5 and 10, in the return's length from 0 to one height, and in solidity
    from 0.8 to 1.

    Args:
        slenderness: length of the wall / its height [over 0].
        solidity: solid share of the face [0.8 to 1].
        return_heights: length of the return corner / height [0: none].

    Returns:
        Coefficients of zones A (to 0.3 heights from the end), B (to 2), C (to 4), D (beyond).

    Raises:
        ValueError: a solidity below 0.8, which the table does not cover.

    Source: EN 1991-1-4 Table 7.9 (second hand; zone lengths and return rule from memory).

    Example:
        >>> [round(value, 9) for value in find_net_coefficients(5)], find_net_coefficients(20, 0.8)
        ([2.9, 1.8, 1.4, 1.2], (1.2, 1.2, 1.2, 1.2))
    """
    if not 0.8 <= solidity <= 1:
        raise ValueError("the table covers solidities from 0.8 to 1")
    turned, solid = min(return_heights, 1.0), (solidity - 0.8) / 0.2

    def zone(index: int) -> float:
        plain = interpolate([(reach, row[index]) for reach, row in COEFFICIENTS], slenderness)
        full = plain + (RETURNED[index] - plain) * turned
        return POROUS + (full - POROUS) * solid

    return (zone(0), zone(1), zone(2), zone(3))


@dataclass(frozen=True, slots=True)
class En:
    """The EN 1991-1-4 method: basic wind speed vb [m/s] and terrain category; the pressure at the top acts on the whole fence."""

    basic_m_s: float
    terrain: str
    orography: float = 1.0
    footing_factor: float = 1.0
    name: str = "en-1991-1-4"
    title: str = "EN 1991-1-4:2005+A1:2010, 7.4.1, free-standing walls"
    arm: float = 1.0
    section_factor: float = 1.5

    def find_zones(self, wall: Wall) -> tuple[Zone, ...]:
        """Return zones A to D of Table 7.9 [m, Pa] at the peak pressure of the fence's top.

        Source: EN 1991-1-4 clause 7.4.1.

        Example: 512.43 Pa at 2 m, ten heights long, so 3.4 times that to 0.6 m from the end:

            >>> first = En(24, "II").find_zones(Wall(2.0, 20.0))[0]
            >>> first.upto_m, round(first.pressure_pa / 3.4, 2)
            (0.6, 512.43)
        """
        peak = calculate_peak_pressure_pa(self.basic_m_s, wall.height_m, self.terrain, self.orography)
        values = find_net_coefficients(wall.length_m / wall.height_m, 1.0, wall.return_m / wall.height_m)
        return tuple(Zone(reach * wall.height_m, peak * value) for reach, value in zip(ZONE_ENDS, values, strict=True))

    def find_porosity_factor(self, solidity: float) -> float:
        """Return 1 [share, 0 to 1]: the table has no values for a lattice below 0.8 solid, so a lattice counts as solid.

        >>> En(24, "II").find_porosity_factor(0.5)
        1.0
        """
        return 1.0

    def list_remarks(self) -> tuple[str, ...]:
        """Return what a reader must know about the method; load levels as a number of [times].

        >>> En(24, "II").list_remarks()[1]
        'A lattice is counted as solid: the table has no values for it.'
        """
        return (
            "The post is screened at 1.5 times the characteristic load, the footing at the characteristic load.",
            "A lattice is counted as solid: the table has no values for it.",
        )
