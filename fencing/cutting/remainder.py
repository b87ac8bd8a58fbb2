"""Remainder: the last hundred pieces of a large order as an order of their own, small enough for a complete search."""

from __future__ import annotations

from dataclasses import replace

from fencing.cutting.greedy import Bars, room_in_groups
from fencing.cutting.problem import CuttingProblem

LAST = 130
"""Number of pieces left at which a large order is finished as an order of its own."""
LARGE = 250
"""Minimum number of pieces of a large order."""
LAST_OF_MIXED, MIXED = 40, 60
"""Number of pieces left for an order that is not large but has more different lengths than the second number."""


def rest_of(problem: CuttingProblem, need: tuple[int, ...], bars: Bars) -> tuple[CuttingProblem, list[int]]:
    """Return the problem that remains when ``bars`` are bought, and the indices of its pieces in the whole order."""
    pieces = [piece for piece, count in enumerate(need) if count]
    used = [0] * len(problem.kinds)
    for kind, _, times in bars:
        used[kind] += times
    kinds = tuple(
        kind if kind.limit is None else replace(kind, limit=kind.limit - used[place])
        for place, kind in enumerate(problem.kinds)
    )
    members = [group for group, _ in problem.groups]
    groups = tuple(zip(members, room_in_groups(problem, bars), strict=True))
    widths = tuple(problem.widths[piece] for piece in pieces)
    return CuttingProblem(
        widths, tuple(need[piece] for piece in pieces), kinds, groups, problem.absent, problem.money
    ), pieces


def whole_again(bars: Bars, pieces: list[int], count: int) -> Bars:
    """Convert patterns of the rest to patterns of the whole order."""
    made: Bars = []
    for kind, pattern, times in bars:
        wide = [0] * count
        for piece, cut in zip(pieces, pattern, strict=True):
            wide[piece] = cut
        made.append((kind, tuple(wide), times))
    return made
