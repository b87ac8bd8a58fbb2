"""What is the most one bar can be worth: a bounded knapsack for every width at once, exact in 64-bit integers.

One table answers for every kind of bar, and for "the best bar that contains piece i" too, since that is the value of i plus
the best of what room is left.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Values = NDArray[np.int64]
Pattern = tuple[int, ...]
"""How many of each piece are cut from one bar."""


@dataclass(slots=True)
class Knapsack:
    """``best[x]`` is the greatest value of pieces within width x. Pieces worth nothing stay out of the table."""

    widths: tuple[int, ...]
    counts: tuple[int, ...]
    values: list[int]
    best: Values
    taken: NDArray[np.bool_]
    steps: list[tuple[int, int]]
    cells: int

    def pattern(self, room: int, forced: int | None = None) -> Pattern:
        """A bar of the greatest value within ``room``, with one of ``forced`` in any case, filled up with what still fits."""
        found = [0] * len(self.widths)
        if forced is not None:
            found[forced] = 1
            room -= self.widths[forced]
        row = len(self.steps)
        while True:
            used = self.taken[:row, room].nonzero()[0]
            if not len(used):
                break
            row = int(used[-1])
            piece, times = self.steps[row]
            found[piece] += times
            room -= times * self.widths[piece]
        if forced is not None and found[forced] > self.counts[forced]:
            room += (found[forced] - self.counts[forced]) * self.widths[forced]
            found[forced] = self.counts[forced]
        return fill(found, self.widths, self.counts, room)


def fill(found: list[int], widths: tuple[int, ...], counts: tuple[int, ...], room: int) -> Pattern:
    """Add, longest first, what still fits: more pieces on a bar never hurt, surplus ones are dropped in the end."""
    if room >= widths[-1]:
        for piece, width in enumerate(widths):
            more = min(counts[piece] - found[piece], room // width)
            if more > 0:
                found[piece] += more
                room -= more * width
    return tuple(found)


def splits(count: int) -> list[int]:
    """Numbers whose subset sums are 0 to ``count``.

    >>> splits(6), splits(1)
    ([1, 2, 3], [1])
    """
    parts, step = [], 1
    while count > 0:
        parts.append(min(step, count))
        count -= parts[-1]
        step *= 2
    return parts


def knapsack(widths: tuple[int, ...], counts: tuple[int, ...], values: list[int], widest: int) -> Knapsack:
    """Fill the table for all widths 0 to ``widest``."""
    steps = [
        (piece, times)
        for piece, value in enumerate(values)
        if value > 0 and widths[piece] <= widest
        for times in splits(min(counts[piece], widest // widths[piece]))
    ]
    best = np.zeros(widest + 1, dtype=np.int64)
    taken = np.zeros((len(steps), widest + 1), dtype=np.bool_)
    for row, (piece, times) in enumerate(steps):
        width = times * widths[piece]
        offer = best[:-width] + times * values[piece]
        np.greater(offer, best[width:], out=taken[row, width:])
        np.maximum(best[width:], offer, out=best[width:])
    return Knapsack(widths, counts, values, best, taken, steps, (len(steps) + 1) * (widest + 1))


def most_worth(widths: tuple[int, ...], counts: tuple[int, ...], values: Sequence[int], widest: int) -> Values:
    """``best`` alone: a third of the memory where no pattern is asked for."""
    best = np.zeros(widest + 1, dtype=np.int64)
    for width, count, value in zip(widths, counts, values, strict=True):
        for times in splits(min(count, widest // width)) if value > 0 else ():
            span = times * width
            np.maximum(best[span:], best[:-span] + times * value, out=best[span:])
    return best


def suffix_tables(widths: tuple[int, ...], counts: tuple[int, ...], values: list[int], widest: int) -> Values:
    """Row i: the greatest value of pieces i, i + 1 ... within each width; the last row is 0."""
    table = np.zeros((len(widths) + 1, widest + 1), dtype=np.int64)
    for piece in range(len(widths) - 1, -1, -1):
        row = table[piece]
        row[:] = table[piece + 1]
        for times in splits(min(counts[piece], widest // widths[piece])) if values[piece] > 0 else ():
            width = times * widths[piece]
            np.maximum(row[width:], row[:-width] + times * values[piece], out=row[width:])
    return table
