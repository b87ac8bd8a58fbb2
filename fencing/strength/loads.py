"""Wind load of half a bay on its post: force, and moment at the ground.

     top  ______________            seen along the wind; heights are above the ground at the post
lattice  |______________|
         |              |
  sheet  |              |
   base  |______________|
post ----|              | middle of the bay
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from math import cos, hypot, radians, sin


@dataclass(frozen=True, slots=True)
class Load:
    """``force_n`` across the fence and ``moment_nm`` at the ground."""

    force_n: float
    moment_nm: float

    def __add__(self, other: Load) -> Load:
        return Load(self.force_n + other.force_n, self.moment_nm + other.moment_nm)

    def __mul__(self, factor: float) -> Load:
        return Load(self.force_n * factor, self.moment_nm * factor)

    @property
    def arm_m(self) -> float:
        """The height of the resultant above ground [m]; 0 without a force. Source: statics.

        >>> Load(2000.0, 1800.0).arm_m, Load(0.0, 0.0).arm_m
        (0.9, 0.0)
        """
        return self.moment_nm / self.force_n if self.force_n else 0.0


@dataclass(frozen=True, slots=True)
class Side:
    """Half of the bay on one side of a post: ``base_m`` and ``top_m`` at the post and at the middle.

    ``heading_deg``: how far the bay is turned from the run that the post is looked at in.
    """

    width_m: float
    base_m: tuple[float, float]
    top_m: tuple[float, float]
    lattice_m: float
    pressure_pa: float
    heading_deg: float = 0.0

    def widen(self, factor: float) -> Side:
        """Return the same side of a bay ``factor`` times as wide [over 0].

        >>> Side(1.2, (0, 0), (1.8, 1.8), 0, 600.0).widen(0.5).width_m
        0.6
        """
        return replace(self, width_m=self.width_m * factor)

    def lower(self, drop_m: float) -> Side:
        """Return the same side with its top ``drop_m`` lower [m], never below its base.

        >>> Side(1.2, (0.05, 0.05), (1.85, 1.85), 0, 600.0).lower(0.35).top_m
        (1.5, 1.5)
        """
        base, top = self.base_m, self.top_m
        return replace(self, top_m=(max(base[0], top[0] - drop_m), max(base[1], top[1] - drop_m)))


def calculate_side_load(side: Side, lattice_factor: float = 1.0) -> Load:
    """Calculate force and moment of one side.

    Rule: the strip at x carries p (solid + k lattice) and p (s^2 - b^2 + k (t^2 - s^2)) / 2; both are quadratic in x, so
    Simpson's three ordinates integrate them exactly. What lies below the post's own ground adds to the force, not to the moment.

    Args:
        side: half a bay [m, Pa].
        lattice_factor: pressure on the lattice strip as a share of that on a solid one [0 to 1].

    Returns:
        Force [N] and moment at the ground [N.m].

    Source: statics.

    Example:
        >>> load = calculate_side_load(Side(2.4, (0, 0), (1.8, 1.8), 0, 1000))
        >>> round(load.force_n, 6), round(load.moment_nm, 6)
        (4320.0, 3888.0)
    """
    total = Load(0.0, 0.0)
    for place, weight in ((0.0, 1), (0.5, 4), (1.0, 1)):
        base, top = (low + (high - low) * place for low, high in (side.base_m, side.top_m))
        total += _calculate_strip_load(base, top, side.lattice_m, lattice_factor) * (weight / 6)
    return total * (side.pressure_pa * side.width_m)


def _calculate_strip_load(base: float, top: float, lattice: float, factor: float) -> Load:
    solid = max(base, top - lattice)
    low, middle, high = (max(0.0, level) for level in (base, solid, top))
    return Load(solid - base + factor * (top - solid), (middle**2 - low**2 + factor * (high**2 - middle**2)) / 2)


def calculate_post_load(sides: Iterable[Side], lattice_factor: float = 1.0, arm: float = 1.0) -> Load:
    """Return the vector sum of all sides, each square to its own bay, in the direction in which it is greatest.

    The moment is taken times ``arm`` where the method puts the resultant above half height.

    Rule: for two sides sqrt(F1^2 + F2^2 + 2 F1 F2 cos turn).

    Source: statics.

    Example: two like sides at 12 degrees pull 2 cos 6 times as much as one:

        >>> half = Side(1.2, (0, 0), (1.8, 1.8), 0, 1000)
        >>> round(calculate_post_load([half, half], arm=1.1).moment_nm, 6)
        4276.8
        >>> round(calculate_post_load([half, replace(half, heading_deg=12.0)]).force_n / calculate_side_load(half).force_n, 4)
        1.989
    """
    across, along = Load(0.0, 0.0), Load(0.0, 0.0)
    for side in sides:
        load, angle = calculate_side_load(side, lattice_factor), radians(side.heading_deg)
        across += load * cos(angle)
        along += load * sin(angle)
    return Load(hypot(across.force_n, along.force_n), hypot(across.moment_nm, along.moment_nm) * arm)
