"""Ground under a run: straight between stations, level before the first and after the last."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass

from fencing.model.measure import Station
from fencing.model.rounding import round_half_up


@dataclass(frozen=True, slots=True)
class Ground:
    """Ground under one run.

    Args:
        chainages: chainages with known levels [mm], strictly increasing, at least one.
        levels: reduced level at each chainage [mm above datum].

    Example:
        >>> Ground((0, 6000, 18240), (0, -120, -540)).at(3000)
        -60
    """

    chainages: tuple[int, ...]
    levels: tuple[int, ...]

    @classmethod
    def through(cls, stations: Sequence[Station], otherwise: int = 0) -> Ground:
        """Make the ground through ``stations``, or level ground at ``otherwise`` [mm above datum] if there are none.

        >>> Ground.through([Station(0, 0), Station(2000, -100)]).at(1000), Ground.through([], 40).at(1000)
        (-50, 40)
        """
        if not stations:
            return cls((0,), (otherwise,))
        return cls(tuple(station.at for station in stations), tuple(station.level for station in stations))

    def at(self, chainage: int) -> int:
        """Return the reduced level [mm above datum] at ``chainage`` [mm], half-up. Source: linear interpolation.

        >>> Ground((0, 2), (0, 1)).at(1)
        1
        """
        right = bisect_left(self.chainages, chainage)
        if right == len(self.chainages):
            return self.levels[-1]
        if self.chainages[right] == chainage or not right:
            return self.levels[right]
        start, width = self.chainages[right - 1], self.chainages[right] - self.chainages[right - 1]
        low, rise = self.levels[right - 1], self.levels[right] - self.levels[right - 1]
        return round_half_up(low * width + rise * (chainage - start), width)

    def between(self, start: int, end: int) -> list[tuple[int, int]]:
        """Return the (chainage, level) points [mm] of the ground from ``start`` to ``end``, with both ends, in order.

        >>> Ground((0, 6000, 18240), (0, -120, -540)).between(5000, 7000)
        [(5000, -100), (6000, -120), (7000, -154)]
        """
        first, last = bisect_right(self.chainages, start), bisect_left(self.chainages, end)
        inner = list(zip(self.chainages[first:last], self.levels[first:last], strict=True))
        return [(start, self.at(start)), *inner, (end, self.at(end))]

    def highest(self, start: int, end: int) -> int:
        """Return the highest level [mm above datum] from ``start`` to ``end`` [mm].

        >>> Ground((0, 1000, 2000), (0, 70, 0)).highest(500, 2000)
        70
        """
        return max(level for _, level in self.between(start, end))

    def lowest(self, start: int, end: int) -> int:
        """Return the lowest level [mm above datum] from ``start`` to ``end`` [mm].

        >>> Ground((0, 1000, 2000), (0, 70, 0)).lowest(500, 1500)
        35
        """
        return min(level for _, level in self.between(start, end))
