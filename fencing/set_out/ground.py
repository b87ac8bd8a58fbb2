"""Ground under a run, and the base and top lines of the fence over it: level, stepped or raked, with or without a taper.

Ground is straight between stations, level before the first and after the last. Each form gives two lines over the same posts.
The line of one bay is a pair of levels (left, right) [mm above datum] at its two post centres.

    level      ______      stepped  ____       raked   \\\\        tapered  ----.__
               /////                   \\\\____             \\\\__               ////
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from fencing.model.fence import Pair
from fencing.model.measure import Form, Station
from fencing.model.rounding import round_half_up, round_up


@dataclass(frozen=True, slots=True)
class Ground:
    """Ground under one run.

    Args:
        chainages: chainages with known levels [mm], strictly increasing, at least one.
        levels: reduced level at each chainage [mm above datum].

    Example:
        >>> Ground((0, 6000, 18240), (0, -120, -540)).find_level(3000)
        -60
    """

    chainages: tuple[int, ...]
    levels: tuple[int, ...]

    @classmethod
    def through(cls, stations: Sequence[Station], otherwise: int = 0) -> Ground:
        """Make the ground through ``stations``, or level ground at ``otherwise`` [mm above datum] if there are none.

        >>> Ground.through([Station(0, 0), Station(2000, -100)]).find_level(1000), Ground.through([], 40).find_level(1000)
        (-50, 40)
        """
        if not stations:
            return cls((0,), (otherwise,))
        return cls(tuple(station.at for station in stations), tuple(station.level for station in stations))

    def find_level(self, chainage: int) -> int:
        """Return the reduced level [mm above datum] at ``chainage`` [mm], half-up. Source: linear interpolation.

        >>> Ground((0, 2), (0, 1)).find_level(1)
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

    def list_points(self, start: int, end: int) -> list[tuple[int, int]]:
        """Return the (chainage, level) points [mm] of the ground from ``start`` to ``end``, with both ends, in order.

        >>> Ground((0, 6000, 18240), (0, -120, -540)).list_points(5000, 7000)
        [(5000, -100), (6000, -120), (7000, -154)]
        """
        first, last = bisect_right(self.chainages, start), bisect_left(self.chainages, end)
        inner = list(zip(self.chainages[first:last], self.levels[first:last], strict=True))
        return [(start, self.find_level(start)), *inner, (end, self.find_level(end))]

    def find_highest(self, start: int, end: int) -> int:
        """Return the highest level [mm above datum] from ``start`` to ``end`` [mm].

        >>> Ground((0, 1000, 2000), (0, 70, 0)).find_highest(500, 2000)
        70
        """
        return max(level for _, level in self.list_points(start, end))

    def find_lowest(self, start: int, end: int) -> int:
        """Return the lowest level [mm above datum] from ``start`` to ``end`` [mm].

        >>> Ground((0, 1000, 2000), (0, 70, 0)).find_lowest(500, 1500)
        35
        """
        return min(level for _, level in self.list_points(start, end))


def calculate_base_lines(form: Form, posts: Sequence[int], ground: Ground, gap: int) -> list[Pair]:
    """Return the underside of the bottom rail in every bay of a segment.

    Rule: docs/rules.md, "Form".

    Args:
        form: level, stepped or raked.
        posts: chainages [mm] of the segment's post centres, increasing, at least two.
        ground: the ground under the run.
        gap: minimum ground gap [mm].

    Returns:
        One (left, right) pair of levels for each bay, in order.

    Example:
        >>> fall = Ground((0, 4700), (0, -200))
        >>> calculate_base_lines(Form.STEPPED, [0, 2350, 4700], fall, 50)
        [(50, 50), (-50, -50)]
        >>> calculate_base_lines(Form.RAKED, [0, 2350, 4700], fall, 50)
        [(50, -50), (-50, -150)]
    """
    if form is Form.AUTO:
        raise ValueError("choose a form before calling calculate_base_lines(): auto is not allowed")
    return _BASES[form](posts, ground, gap)


def _find_level_lines(posts: Sequence[int], ground: Ground, gap: int) -> list[Pair]:
    base = ground.find_highest(posts[0], posts[-1]) + gap
    return [(base, base)] * (len(posts) - 1)


def _find_stepped_lines(posts: Sequence[int], ground: Ground, gap: int) -> list[Pair]:
    bays = len(posts) - 1
    first, last = ground.find_level(posts[0]), ground.find_level(posts[-1])
    high, fall = max(first, last), abs(last - first)
    down = [round_half_up(fall * bay, bays) for bay in range(bays)]
    equal = [high + gap - drop for drop in (down if first >= last else reversed(down))]
    least = [ground.find_highest(left, right) + gap for left, right in pairwise(posts)]
    if all(base >= lowest - 1 for base, lowest in zip(equal, least, strict=True)):
        # a millimetre short is rounding: keep the equal steps and the gap of the bay
        least = list(map(max, equal, least))
    return [(base, base) for base in least]


def _find_raked_lines(posts: Sequence[int], ground: Ground, gap: int) -> list[Pair]:
    return [_find_raked_line(left, right, ground, gap) for left, right in pairwise(posts)]


def _find_raked_line(left: int, right: int, ground: Ground, gap: int) -> Pair:
    start, end = ground.find_level(left), ground.find_level(right)
    width = right - left
    hump = max(
        round_up((level - start) * width - (end - start) * (at - left), width)
        for at, level in ground.list_points(left, right)
    )
    return start + gap + hump, end + gap + hump


_BASES: Mapping[Form, Callable[[Sequence[int], Ground, int], list[Pair]]] = {
    Form.LEVEL: _find_level_lines,
    Form.STEPPED: _find_stepped_lines,
    Form.RAKED: _find_raked_lines,
}


@dataclass(frozen=True, slots=True)
class Drop:
    """Drop of a taper: 0 at chainage ``start`` and before it, ``depth`` [mm] at ``end``, linear between."""

    start: int
    end: int
    depth: int

    def calculate(self, chainage: int) -> int:
        """Return the drop [mm] at a chainage [mm], half-up. Source: common practice.

        >>> [Drop(4700, 0, 750).calculate(x) for x in (0, 2350, 4700, 7050)]
        [750, 375, 0, 0]
        """
        away = (chainage - self.start) * (1 if self.end > self.start else -1)
        return round_half_up(self.depth * away, abs(self.end - self.start)) if away > 0 else 0


NO_DROP = Drop(0, 1, 0)


def calculate_top_lines(bases: Sequence[Pair], posts: Sequence[int], height: int, drop: Drop = NO_DROP) -> list[Pair]:
    """Return the top of the top rail in every bay: ``height`` [mm] above its base line, less the taper's drop.

    Example (1500 tapering to 750 over two bays):
        >>> calculate_top_lines([(50, 50), (50, 50)], [0, 2350, 4700], 1500, Drop(0, 4700, 750))
        [(1550, 1175), (1175, 800)]
    """
    spans = pairwise(posts)
    return [
        (left + height - drop.calculate(start), right + height - drop.calculate(end))
        for (left, right), (start, end) in zip(bases, spans, strict=True)
    ]
