"""A lower bound on cost: the minimum payment for whole bars that are worth enough.

Under any prices of the pieces, a bar of a type has a maximum worth. The bars of a plan must be worth as much as all
pieces together. The minimum cost of that worth is a knapsack over total costs, which is much faster than branching on
the bars bought.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fencing.cutting.knapsack import Values, splits
from fencing.cutting.problem import CuttingProblem, VariableBounds

PAID_MOST = 2_000_000
"""Maximum number of totals in the table, above what the box requires anyway."""


def least_paid(
    problem: CuttingProblem, box: VariableBounds, worth: Sequence[int], wanted: int, ceiling: int
) -> tuple[int, int]:
    """Return the minimum total, at most ``ceiling``, of bars that are worth ``wanted``; and the number of table cells."""
    low, high = box
    paid = sum(kind.cost * least for kind, least in zip(problem.kinds, low, strict=True))
    wanted -= sum(most * least for most, least in zip(worth, low, strict=True))
    spare = [most - least for least, most in zip(low, high, strict=True)]
    wanted -= sum(most * more for kind, most, more in zip(problem.kinds, worth, spare, strict=True) if not kind.cost)
    size = ceiling - paid
    if wanted <= 0 or not 0 < size <= PAID_MOST:
        return min(paid, ceiling), 0
    ways = [
        (kind.cost, most, min(more, (size - 1) // kind.cost))
        for kind, most, more in zip(problem.kinds, worth, spare, strict=True)
        if kind.cost and most
    ]
    if sum(most * more for _, most, more in ways) + wanted >= 1 << 62:
        return min(paid, ceiling), 0
    best, steps = np.zeros(size, dtype=np.int64), 0
    for cost, most, more in ways:
        best, tabled = _with_way(best, cost, most, more)
        steps += tabled
    return paid + int(np.searchsorted(best, wanted)), steps * size


def _with_way(best: Values, cost: int, worth: int, more: int) -> tuple[Values, int]:
    """Return the table with up to ``more`` bars of one cost and worth added."""
    if more >= (len(best) - 1) // cost > 3:
        rows = -(-len(best) // cost)
        table = np.zeros((rows, cost), dtype=np.int64)
        table.reshape(-1)[: len(best)] = best
        climb = worth * np.arange(rows, dtype=np.int64)[:, None]
        table -= climb
        np.maximum.accumulate(table, axis=0, out=table)
        table += climb
        return table.reshape(-1)[: len(best)], 4
    parts = splits(more)
    for times in parts:
        span = cost * times
        np.maximum(best[span:], best[:-span] + worth * times, out=best[span:])
    return best, len(parts)
