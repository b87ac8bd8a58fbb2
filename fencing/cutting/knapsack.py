"""Bounded knapsack: the maximum value of one bar for every width at once, exact in 64-bit integers.

One table serves every bar type. It also gives the best bar that contains piece i: the value of i plus the best value
of the room that is left.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Values = NDArray[np.int64]
Pattern = tuple[int, ...]
"""Number of each piece cut from one bar."""


@dataclass(slots=True)
class Knapsack:
    """The greatest value of pieces within width x, as ``best[x]``. Pieces without value are not in the table."""

    widths: tuple[int, ...]
    counts: tuple[int, ...]
    values: list[int]
    best: Values
    taken: NDArray[np.bool_]
    steps: list[tuple[int, int]]
    cells: int

    def pattern(self, room: int, forced: int | None = None) -> Pattern:
        """Return a bar of the greatest value within ``room`` that contains one of ``forced``, filled up with what still fits."""
        cut = [0] * len(self.widths)
        if forced is not None:
            cut[forced] = 1
            room -= self.widths[forced]
        row = len(self.steps)
        while True:
            used = self.taken[:row, room].nonzero()[0]
            if not len(used):
                break
            row = int(used[-1])
            piece, times = self.steps[row]
            cut[piece] += times
            room -= times * self.widths[piece]
        if forced is not None and cut[forced] > self.counts[forced]:
            room += (cut[forced] - self.counts[forced]) * self.widths[forced]
            cut[forced] = self.counts[forced]
        return fill(cut, self.widths, self.counts, room)


def fill(cut: list[int], widths: tuple[int, ...], counts: tuple[int, ...], room: int) -> Pattern:
    """Add pieces that still fit, longest first.

    More pieces on a bar do no harm; surplus ones are removed at the end.
    """
    if room >= widths[-1]:
        for piece, width in enumerate(widths):
            more = min(counts[piece] - cut[piece], room // width)
            if more > 0:
                cut[piece] += more
                room -= more * width
    return tuple(cut)


def split_count(count: int) -> list[int]:
    """Return numbers whose subset sums are 0 to ``count``.

    >>> split_count(6), split_count(1)
    ([1, 2, 3], [1])
    """
    parts, step = [], 1
    while count > 0:
        parts.append(min(step, count))
        count -= parts[-1]
        step *= 2
    return parts


def solve_knapsack(widths: tuple[int, ...], counts: tuple[int, ...], values: list[int], widest: int) -> Knapsack:
    """Fill the table for all widths 0 to ``widest``."""
    steps = [
        (piece, times)
        for piece, value in enumerate(values)
        if value > 0 and widths[piece] <= widest
        for times in split_count(min(counts[piece], widest // widths[piece]))
    ]
    best = np.zeros(widest + 1, dtype=np.int64)
    taken = np.zeros((len(steps), widest + 1), dtype=np.bool_)
    for row, (piece, times) in enumerate(steps):
        width = times * widths[piece]
        offer = best[:-width] + times * values[piece]
        np.greater(offer, best[width:], out=taken[row, width:])
        np.maximum(best[width:], offer, out=best[width:])
    return Knapsack(widths, counts, values, best, taken, steps, (len(steps) + 1) * (widest + 1))


def find_most_worth(widths: tuple[int, ...], counts: tuple[int, ...], values: Sequence[int], widest: int) -> Values:
    """Return ``best`` alone, with a third of the memory, if no pattern is needed.

    >>> find_most_worth((3, 5), (2, 1), [4, 7], 8).tolist()
    [0, 0, 0, 4, 4, 7, 8, 8, 11]
    """
    best = np.zeros(widest + 1, dtype=np.int64)
    for width, count, value in zip(widths, counts, values, strict=True):
        for times in split_count(min(count, widest // width)) if value > 0 else ():
            span = times * width
            np.maximum(best[span:], best[:-span] + times * value, out=best[span:])
    return best


def build_suffix_tables(widths: tuple[int, ...], counts: tuple[int, ...], values: list[int], widest: int) -> Values:
    """Return a table with the greatest value of pieces i, i + 1 ... within each width in row i; the last row is 0.

    >>> build_suffix_tables((3, 5), (2, 1), [4, 7], 5).tolist()
    [[0, 0, 0, 4, 4, 7], [0, 0, 0, 0, 0, 7], [0, 0, 0, 0, 0, 0]]
    """
    table = np.zeros((len(widths) + 1, widest + 1), dtype=np.int64)
    for piece in range(len(widths) - 1, -1, -1):
        row = table[piece]
        row[:] = table[piece + 1]
        for times in split_count(min(counts[piece], widest // widths[piece])) if values[piece] > 0 else ():
            width = times * widths[piece]
            np.maximum(row[width:], row[:-width] + times * values[piece], out=row[width:])
    return table
