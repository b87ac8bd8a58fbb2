"""Placement of labels so that they do not overlap.

Labels over a line of posts keep their order and move sideways as little as they must (the least sum of squares, by pooling
neighbours that push each other); where one line would move them too far they alternate over more lines. Labels on a plan try
their places in order of preference against everything already drawn.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import count, pairwise
from math import atan2, cos, degrees, floor, radians, sin


def spread(
    centres: Sequence[float], widths: Sequence[float], low: float, high: float, gap: float
) -> list[float] | None:
    """Return new centres, at least ``gap`` between neighbours, all within low..high, moved as little as possible; or None.

    Args:
        centres: wished places [mm], ascending.
        widths: how wide each is [mm].
        low: left edge [mm].
        high: right edge [mm].
        gap: least space between two [mm].

    Source: isotonic regression by pooling adjacent violators (Ayer and others, 1955), named from memory.

    Example:
        >>> spread([10, 11], [4, 4], 0, 100, 1)
        [8.0, 13.0]
    """
    if not centres:
        return []
    offsets = [0.0]
    for left, right in pairwise(widths):
        offsets.append(offsets[-1] + (left + right) / 2 + gap)
    least, most = low + widths[0] / 2, high - widths[-1] / 2 - offsets[-1]
    if least > most + 1e-9:
        return None
    pools = list[tuple[float, int]]()  # (mean, count)
    for centre, offset in zip(centres, offsets, strict=True):
        mean, many = centre - offset, 1
        while pools and pools[-1][0] > mean:
            before, size = pools.pop()
            mean, many = (before * size + mean * many) / (size + many), size + many
        pools.append((mean, many))
    settled = [min(max(mean, least), most) for mean, many in pools for _ in range(many)]
    return [place + offset for place, offset in zip(settled, offsets, strict=True)]


def divide_into_lanes(
    centres: Sequence[float], widths: Sequence[float], low: float, high: float, gap: float, move: float
) -> list[tuple[int, float]]:
    """Return (lane, centre) of every label: the fewest lanes in which none moves more than ``move`` mm from its centre."""
    furthest = move
    for many in count(1):
        placed = list[tuple[int, float]]([(0, 0.0)] * len(centres))
        worst = 0.0
        for lane in range(many):
            new = spread(centres[lane::many], widths[lane::many], low, high, gap)
            if new is None:
                worst = float("inf")
                break
            for index, (old, now) in enumerate(zip(centres[lane::many], new, strict=True)):
                placed[lane + index * many] = (lane, now)
                worst = max(worst, abs(now - old))
        # with one lane for each label only the edges move labels, and another lane does not help
        if worst <= furthest or (many >= len(centres) and worst < float("inf")):
            return placed
        if many >= len(centres):
            raise ValueError("a label is wider than its drawing: shorten it first")
    raise AssertionError("counting never ends")


@dataclass(frozen=True, slots=True)
class LabelBox:
    """A rectangle about (x, y), ``along`` by ``across`` mm, its length turned clockwise by ``turn`` degrees."""

    x: float
    y: float
    along: float
    across: float
    turn: float = 0.0

    def find_axes(self) -> tuple[tuple[float, float], tuple[float, float]]:
        angle = radians(self.turn)
        return (cos(angle), sin(angle)), (-sin(angle), cos(angle))

    def list_corners(self) -> list[tuple[float, float]]:
        (ax, ay), (bx, by) = self.find_axes()
        half, deep = self.along / 2, self.across / 2
        return [
            (self.x + u * half * ax + v * deep * bx, self.y + u * half * ay + v * deep * by)
            for u, v in ((-1, -1), (1, -1), (1, 1), (-1, 1))
        ]

    def find_bounds(self) -> tuple[float, float, float, float]:
        """Return (left, top, right, bottom)."""
        corners = self.list_corners()
        xs, ys = [x for x, _ in corners], [y for _, y in corners]
        return min(xs), min(ys), max(xs), max(ys)


def overlap(box: LabelBox, other: LabelBox) -> bool:
    """Return True if two turned rectangles share more than an edge (separating axes).

    >>> overlap(LabelBox(0, 0, 4, 2), LabelBox(3, 0, 4, 2)), overlap(LabelBox(0, 0, 4, 2), LabelBox(4, 0, 4, 2))
    (True, False)
    """
    first, second = box.list_corners(), other.list_corners()
    for ax, ay in (*box.find_axes(), *other.find_axes()):
        a = [x * ax + y * ay for x, y in first]
        b = [x * ax + y * ay for x, y in second]
        if max(a) <= min(b) + 1e-6 or max(b) <= min(a) + 1e-6:
            return False
    return True


class Board:
    """The drawn objects, stored in squares of ``CELL`` mm so that only neighbours are compared."""

    CELL = 8.0

    def __init__(self, left: float, top: float, right: float, bottom: float) -> None:
        self.edges = (left, top, right, bottom)
        self._cells = defaultdict[tuple[int, int], list[tuple[LabelBox, tuple[float, float, float, float]]]](list)

    def add(self, box: LabelBox) -> None:
        bounds = box.find_bounds()
        for cell in self._list_cells(bounds):
            self._cells[cell].append((box, bounds))

    def add_line(self, x1: float, y1: float, x2: float, y2: float, thick: float = 0.3) -> None:
        """Keep labels away from a line, stored in pieces so that a long one fills few squares."""
        pieces = max(1, floor(max(abs(x2 - x1), abs(y2 - y1)) / self.CELL) + 1)
        turn = degrees(atan2(y2 - y1, x2 - x1))
        length = ((x2 - x1) ** 2 + (y2 - y1) ** 2) ** 0.5 / pieces
        for piece in range(pieces):
            share = (piece + 0.5) / pieces
            self.add(LabelBox(x1 + (x2 - x1) * share, y1 + (y2 - y1) * share, length, thick, turn))

    def find_deepest(self) -> float:
        """Return the lowest point of all objects [mm]; the upper edge of an empty board."""
        return max((bounds[3] for held in self._cells.values() for _, bounds in held), default=self.edges[1])

    def contains(self, box: LabelBox) -> bool:
        return self._contains(box.find_bounds())

    def _contains(self, bounds: tuple[float, float, float, float]) -> bool:
        left, top, right, bottom = bounds
        return left >= self.edges[0] and top >= self.edges[1] and right <= self.edges[2] and bottom <= self.edges[3]

    def is_free(self, box: LabelBox) -> bool:
        bounds = box.find_bounds()
        if not self._contains(bounds):
            return False
        left, top, right, bottom = bounds
        for cell in self._list_cells(bounds):
            for taken, (its_left, its_top, its_right, its_bottom) in self._cells.get(cell, ()):
                apart = its_left >= right or its_right <= left or its_top >= bottom or its_bottom <= top
                if not apart and overlap(box, taken):
                    return False
        return True

    def _list_cells(self, bounds: tuple[float, float, float, float]) -> list[tuple[int, int]]:
        left, top, right, bottom = bounds
        across = range(floor(left / self.CELL), floor(right / self.CELL) + 1)
        down = range(floor(top / self.CELL), floor(bottom / self.CELL) + 1)
        return [(column, row) for column in across for row in down]
