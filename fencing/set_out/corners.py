"""The job in plan: position of each run, and corners that two runs share."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise
from math import cos, hypot, radians, sin

from fencing.model.measure import Run, Terminal

Point = tuple[float, float]


def trace_runs(runs: Sequence[Run]) -> list[tuple[Point, Point]]:
    """Return start and end of every run in plan [mm]. The first run starts at the origin along +x; y is upwards.

    A run starts where the run before it in the list ends, turned by its ``turn`` (degrees, clockwise seen from above).

    Source: plane geometry.

    >>> first, then = Run("A", 3000, 1800), Run("B", 4000, 1800, turn=Fraction(90))
    >>> [(round(x), round(y)) for _, (x, y) in trace_runs([first, then])]
    [(3000, 0), (3000, -4000)]
    """
    lines, at, heading = list[tuple[Point, Point]](), (0.0, 0.0), Fraction(0)
    for run in runs:
        heading += run.turn
        angle = -radians(float(heading))
        end = (at[0] + run.length * cos(angle), at[1] + run.length * sin(angle))
        lines.append((at, end))
        at = end
    return lines


def find_corners(runs: Sequence[Run]) -> dict[int, int]:
    """Map the index of each run that starts at a shared corner post to the index of the run that ends there.

    Rule: a run that ends in a corner meets the next run if that starts in a corner. The last run meets the first if there are
    at least three runs and the plan closes within 2 % of its length, or within 500 mm. Source: house rule.

    >>> side = Run("A", 3000, 1800, end=Terminal.CORNER)
    >>> find_corners([side, Run("B", 4000, 1800, turn=Fraction(90), start=Terminal.CORNER)])
    {1: 0}
    """
    shared = {
        index + 1: index
        for index, (before, after) in enumerate(pairwise(runs))
        if before.end is Terminal.CORNER and after.start is Terminal.CORNER
    }
    if len(runs) >= 3 and runs[-1].end is Terminal.CORNER and runs[0].start is Terminal.CORNER and _is_closed(runs):
        shared[0] = len(runs) - 1
    return shared


def _is_closed(runs: Sequence[Run]) -> bool:
    x, y = trace_runs(runs)[-1][1]
    return hypot(x, y) <= max(500.0, sum(run.length for run in runs) / 50)
