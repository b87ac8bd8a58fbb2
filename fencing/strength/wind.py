"""Wind on a free-standing fence: the interface of all methods, and the method of a stated pressure.

A method gives *zones*: net pressures by distance from an end the wind can go round. In the middle the last zone holds.

    free end |--- zone ---|--- zone ---|------- last zone, without end -------
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import inf
from typing import Protocol


@dataclass(frozen=True, slots=True)
class Zone:
    """Net pressure [Pa] over the fence from the zone before to ``upto_m`` from the free end (``inf``: to the middle)."""

    upto_m: float
    pressure_pa: float


@dataclass(frozen=True, slots=True)
class Wall:
    """A length of fence for the wind; ``return_m``: how far the fence continues round the corner at its end (0: a free end)."""

    height_m: float
    length_m: float
    return_m: float = 0.0


class WindMethod(Protocol):
    """A published (or stated) method for a net pressure.

    ``arm`` multiplies the lever arm of a full-height pressure (1: resultant at half height). ``section_factor`` brings the
    load to the level of the section's capacity, ``footing_factor`` to the allowable level of the pole formula.
    """

    @property
    def name(self) -> str:
        """The method's name in documents."""

    @property
    def title(self) -> str:
        """The standard and clause, as shown to users."""

    @property
    def arm(self) -> float:
        """The lever arm of a full-height pressure as a share of half the height [1 or more]."""

    @property
    def section_factor(self) -> float:
        """The load for the section over the load of the zones [0 and more]."""

    @property
    def footing_factor(self) -> float:
        """The load for the pole formula over the load of the zones [0 and more]."""

    def find_zones(self, wall: Wall) -> tuple[Zone, ...]:
        """Return net pressures [Pa] by distance from a free end [m]."""

    def find_porosity_factor(self, solidity: float) -> float:
        """Return the pressure on a lattice of this solid share [0 to 1] over that on a solid face."""

    def list_remarks(self) -> tuple[str, ...]:
        """Return what a reader must know about the method."""


def calculate_mean_pressure_pa(zones: Sequence[Zone], start_m: float, end_m: float) -> float:
    """Calculate the mean net pressure between two distances from a free end.

    Rule: each zone's pressure weighted by its share of the length.

    Args:
        zones: in order from the free end; the last one without end.
        start_m: nearer distance [m, 0 or more].
        end_m: farther distance [m, over ``start_m``].

    Returns:
        Pressure [Pa].

    Source: statics.

    Example:
        >>> calculate_mean_pressure_pa((Zone(3.6, 1200.0), Zone(inf, 600.0)), 2.4, 4.8)
        900.0
    """
    total, before = 0.0, 0.0
    for zone in zones:
        total += zone.pressure_pa * max(0.0, min(end_m, zone.upto_m) - max(start_m, before))
        before = zone.upto_m
    return total / (end_m - start_m)


def build_eccentric_zones(pressure_pa: float, length_m: float, offset: float) -> tuple[Zone, ...]:
    """Divide a short wall into zones whose resultant is ``offset`` of its length off the middle.

    Rule: a pressure falling in a straight line whose resultant is there is 1 + 6 * offset at the end and 1 in
    the middle; given in five equal steps of a tenth of the length, each at its own mean; beyond the middle the plain pressure
    holds (either end may be windward).

    Args:
        pressure_pa: mean pressure over the wall [Pa].
        length_m: length of the wall [m].
        offset: eccentricity as a share of the length [0 to 0.2].

    Returns:
        Zones in order from the free end.

    Source: statics; the eccentricity is the standard's.

    Example:
        >>> [round(zone.pressure_pa, 6) for zone in build_eccentric_zones(100.0, 10.0, 0.2)]
        [208.0, 184.0, 160.0, 136.0, 112.0, 100.0]
    """
    steps = tuple(
        Zone((step + 1) * length_m / 10, pressure_pa * (1 + 6 * offset * (1 - (2 * step + 1) / 10)))
        for step in range(5)
    )
    return (*steps, Zone(inf, pressure_pa))


def interpolate(table: Sequence[tuple[float, float]], x: float) -> float:
    """Interpolate linearly between the points of ``table`` (x ascending), constant beyond its ends [in the table's units].

    Source: arithmetic.

    Example:
        >>> round(interpolate([(3, 2.3), (5, 2.9), (10, 3.4)], 4), 9)
        2.6
    """
    if x <= table[0][0]:
        return table[0][1]
    for (x0, y0), (x1, y1) in pairwise(table):
        if x <= x1:
            return y0 + (y1 - y0) * (x - x0) / (x1 - x0)
    return table[-1][1]


@dataclass(frozen=True, slots=True)
class GivenPressure:
    """A net pressure stated by the estimator, multiplied by ``end_factor`` within two heights of a free end.

    The default end factor of 2 is the ratio of AS/NZS 1170.2 (2.4 to 1.2) for wind at 45 degrees to a long wall on the ground.
    """

    pressure_pa: float
    end_factor: float = 2.0
    footing_factor: float = 1.0
    name: str = "given_pressure"
    title: str = "stated net wind pressure"
    arm: float = 1.0
    section_factor: float = 1.0

    def find_zones(self, wall: Wall) -> tuple[Zone, ...]:
        """Return the stated pressure [Pa], times the end factor within two heights of an end; three quarters of it at a return.

        A return longer than one height takes the end factor down by 0.75, never below 1.

        Source: house rule, after AS/NZS 1170.2 Table B.2(B), where a return takes 2.4 down to 1.8.

        >>> [(zone.upto_m, zone.pressure_pa) for zone in GivenPressure(600.0).find_zones(Wall(1.8, 20.0))]
        [(3.6, 1200.0), (inf, 600.0)]
        """
        factor = max(1.0, self.end_factor * 0.75) if wall.return_m > wall.height_m else self.end_factor
        if factor == 1:
            return (Zone(inf, self.pressure_pa),)
        return (Zone(2 * wall.height_m, self.pressure_pa * factor), Zone(inf, self.pressure_pa))

    def find_porosity_factor(self, solidity: float) -> float:
        """Return 1 - (1 - solidity)^2 [solidity 0 to 1], as AS/NZS 1170.2 (the stated pressure is for a solid face).

        >>> GivenPressure(600.0).find_porosity_factor(0.5)
        0.75
        """
        return 1 - (1 - solidity) ** 2

    def list_remarks(self) -> tuple[str, ...]:
        """Return what a reader must know about the method; the end factor as a number of [times].

        >>> GivenPressure(600.0, end_factor=1.5).list_remarks()
        ('Within two heights of a free end the stated pressure is taken 1.5 times.',)
        """
        ends = f"Within two heights of a free end the stated pressure is taken {self.end_factor:g} times."
        plain = "The stated pressure is used at free ends too; published methods give up to double there."
        return (ends if self.end_factor != 1 else plain,)
