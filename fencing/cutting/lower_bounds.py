"""Lower bounds on the cost of any plan, in integers, so that a solver's tolerance does not affect the proof.

For whole prices ``values`` put on the pieces (any at all), a plan with ``y`` bars of each kind costs at least
``sum(count * value) + sum((cost - most a bar of that kind can be worth) * y)``. Its least over the box is the bound.

Under the same prices the bars of a plan must be worth as much as all pieces together. The minimum cost of that worth is a
knapsack over total costs, which is much faster than branching on the bars bought.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fencing.cutting.knapsack import Values, split_count
from fencing.cutting.problem import CuttingProblem, VariableBounds

TOTALS_MOST = 400_000
"""Maximum total to look up exactly; above it only the common divisor of the prices is used."""


def find_scale(problem: CuttingProblem) -> int:
    """Return how many units of value make one unit of cost, so that no sum in the tables needs more than 62 bits."""
    dearest = max(1, max(kind.cost for kind in problem.kinds))
    most = max(1, problem.widest // min(problem.widths)) + 1
    scale = 1 << 20
    while scale > 1 and scale * dearest * most >= 1 << 61:
        scale >>= 1
    return scale


def calculate_slopes(problem: CuttingProblem, scale: int, worth: Sequence[int]) -> list[int]:
    """Return the cost of one bar of each kind less its maximum worth, in units of value."""
    return [kind.cost * scale - most for kind, most in zip(problem.kinds, worth, strict=True)]


def minimise_over_box(problem: CuttingProblem, box: VariableBounds, slope: list[int]) -> int:
    """Return the minimum of ``sum(slope * y)`` over the box and the limits that kinds share.

    The limit of a group is kept exactly: its kinds start at their minimum, and the most rewarding ones are raised
    first.
    """
    low, high = box
    total = 0
    grouped: set[int] = set()
    for members, limit in problem.groups:
        grouped.update(members)
        spare = limit - sum(low[kind] for kind in members)
        total += sum(slope[kind] * low[kind] for kind in members)
        for kind in sorted(members, key=lambda kind: slope[kind]):
            more = min(spare, high[kind] - low[kind])
            if slope[kind] < 0 < more:
                total += slope[kind] * more
                spare -= more
    for kind, item in enumerate(slope):
        if kind not in grouped:
            total += item * (low[kind] if item >= 0 else high[kind])
    return total


@dataclass(frozen=True, slots=True)
class PayableTotals:
    """The total costs that whole bars of these kinds can add up to."""

    bits: int
    most: int

    def round_up(self, value: int, scale: int) -> int:
        """Return the smallest payable total of at least ``value / scale``."""
        whole = max(0, -(-value // scale))
        if whole > self.most:
            return whole
        above = self.bits >> whole
        return whole + (above & -above).bit_length() - 1 if above else self.most + 1

    def down(self, value: int) -> int:
        """Return the greatest payable total below ``value``."""
        if value > self.most:
            return value - 1
        return (self.bits & ((1 << value) - 1)).bit_length() - 1


def build_payable_totals(problem: CuttingProblem, ceiling: int) -> PayableTotals:
    """Return the payable totals up to ``ceiling``, if a table of that size is useful."""
    most = min(ceiling, TOTALS_MOST)
    mask = (1 << (most + 1)) - 1
    bits = 1
    pieces = sum(problem.counts)
    for kind in problem.kinds:
        for times in split_count(
            min(pieces if kind.limit is None else kind.limit, most // kind.cost if kind.cost else 0)
        ):
            bits |= (bits << (kind.cost * times)) & mask
    return PayableTotals(bits if ceiling <= TOTALS_MOST else 0, most if ceiling <= TOTALS_MOST else -1)


PAID_MOST = 2_000_000
"""Maximum number of totals in the table, above what the box requires anyway."""


def find_minimum_payment(
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
        best, tabled = _add_way(best, cost, most, more)
        steps += tabled
    return paid + int(np.searchsorted(best, wanted)), steps * size


def _add_way(best: Values, cost: int, worth: int, more: int) -> tuple[Values, int]:
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
    parts = split_count(more)
    for times in parts:
        span = cost * times
        np.maximum(best[span:], best[:-span] + worth * times, out=best[span:])
    return best, len(parts)
