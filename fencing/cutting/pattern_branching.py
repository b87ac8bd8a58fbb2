"""Branching on patterns: on how many bars hold certain pieces together, over the patterns of a better plan.

Every end of the tree stores the whole prices that prove its bound. No such leaf relies on a solver.
"""

from __future__ import annotations

from dataclasses import dataclass

import highspy
import numpy as np
from numpy.typing import NDArray

from fencing.cutting.column_generation import SURE, SearchState
from fencing.cutting.greedy import Bars
from fencing.cutting.knapsack import Pattern
from fencing.cutting.lower_bounds import calculate_slopes, minimise_over_box
from fencing.cutting.master_problem import DUAL_SIMPLEX, build_model, list_entries, make_solver
from fencing.cutting.plan_model import PatternBranch, ProofEnd
from fencing.cutting.problem import VariableBounds

Columns = list[tuple[int, Pattern]]
Floats = NDArray[np.float64]
Whole = NDArray[np.int64]
Test = tuple[int | None, tuple[tuple[int, int], ...]]
"""A kind (None: any) and the (piece, minimum number) that a bar of it holds."""

FINE = 20
"""Cost of a missing piece, in whole plans."""
DEEPEST = 400


class _OpenNode(Exception):
    """A node that was neither packed nor refuted within the allowed nodes or 62 bits."""


@dataclass(frozen=True, slots=True)
class _Limit:
    """A branch: at most, or at least, a number of bars pass a test."""

    test: Test
    row: int
    count: int
    over: bool


class PatternBranching:
    """The search within one box over a complete list of patterns."""

    def __init__(self, run: SearchState, box: VariableBounds, columns: Columns, nodes: int) -> None:
        self.run, self.box, self.columns, self.nodes = run, box, columns, nodes
        problem = run.problem
        self.kinds = np.array([kind for kind, _ in columns])
        self.own = [np.flatnonzero(self.kinds == kind) for kind in range(len(problem.kinds))]
        self.counts = np.array(problem.counts, dtype=np.int64)
        self.cuts = np.array([pattern for _, pattern in columns], dtype=np.int64)
        self.most = int(self.cuts.sum(axis=1).max())
        tests = [(piece, times) for piece, most in enumerate(self.cuts.max(axis=0)) for times in range(1, most + 1)]
        self.tests = tests
        self.passed = np.stack([self.cuts[:, piece] >= times for piece, times in tests], axis=1).astype(np.float64)
        self.fine = float(FINE * (run.upper + 1))
        self._rows: dict[Test, tuple[int, NDArray[np.bool_]]] = {}
        self._first = len(problem.widths) + len(problem.kinds) + len(problem.groups)
        self._solver = self._programme()

    def _programme(self) -> highspy._core._Highs:
        """Build the programme: cover the pieces with the listed patterns.

        A missing piece has a high cost, so a solution exists.
        """
        problem, infinity = self.run.problem, highspy.kHighsInf
        pieces = len(problem.widths)
        columns = [list_entries(problem, kind, pattern) for kind, pattern in self.columns]
        costs = [float(problem.kinds[kind].cost) for kind, _ in self.columns] + [self.fine] * pieces
        limits = [float(limit) for _, limit in problem.groups]
        low, high = (list(map(float, side)) for side in self.box)
        rows = (
            [*map(float, problem.counts), *low, *([-infinity] * len(limits))],
            [*([infinity] * pieces), *high, *limits],
        )
        missing = [[(piece, 1)] for piece in range(pieces)]
        model = build_model([*columns, *missing], costs, [infinity] * len(costs), rows)
        solver = make_solver()
        solver.setOptionValue("presolve", "off")
        solver.setOptionValue("solver", "simplex")
        solver.setOptionValue("simplex_strategy", DUAL_SIMPLEX)
        solver.passModel(model)
        return solver

    def solve(self) -> PatternBranch | ProofEnd | None:
        """Return the proof that no plan here is cheaper than the best one; None if the allowed nodes are too few."""
        try:
            return self._walk([])
        except _OpenNode:
            return None

    def _walk(self, path: list[_Limit]) -> PatternBranch | ProofEnd:
        self.nodes -= 1
        if self.nodes < 0 or len(path) > DEEPEST:
            raise _OpenNode
        shares, values, fees = self._relaxed(path)
        if self._closed(path, values, fees):
            return ProofEnd(tuple(values.tolist()), tuple(fees))
        whole = np.rint(shares)
        if np.abs(shares - whole).max() < SURE:
            self._offer(whole)
            if self._closed(path, values, fees):
                return ProofEnd(tuple(values.tolist()), tuple(fees))
            raise _OpenNode
        test, count = self._branch(shares)
        row = self._row(test)
        over = self._below(path, _Limit(test, row, count + 1, True))
        under = self._below(path, _Limit(test, row, count, False))
        return PatternBranch(test[0], test[1], count, under, over)

    def _below(self, path: list[_Limit], limit: _Limit) -> PatternBranch | ProofEnd:
        """Search one side, then reset the row to what the path requires."""
        before = [item for item in path if item.row == limit.row]
        self._set(limit.row, [*before, limit])
        end = self._walk([*path, limit])
        self._set(limit.row, before)
        return end

    def _set(self, row: int, limits: list[_Limit]) -> None:
        least = max((float(limit.count) for limit in limits if limit.over), default=-highspy.kHighsInf)
        most = min((float(limit.count) for limit in limits if not limit.over), default=highspy.kHighsInf)
        self._solver.changeRowBounds(row, least, most)

    def _relaxed(self, path: list[_Limit]) -> tuple[Floats, Whole, list[int]]:
        """Return shares of the patterns, whole prices of the pieces and whole fees of the limits on the path."""
        solver, scale = self._solver, self.run.scale
        solver.run()
        info = solver.getInfo()
        rows = self._first + len(self._rows)
        pivots = max(0, info.simplex_iteration_count)
        self.run.effort.spend(300 + pivots * (10 + rows // 3 + len(self.columns) // 40) + len(self.columns))
        if solver.getModelStatus() != highspy.HighsModelStatus.kOptimal:
            raise _OpenNode
        solution = solver.getSolution()
        prices = np.floor(np.asarray(solution.row_dual) * scale).astype(np.int64)
        values = np.maximum(prices[: len(self.run.problem.widths)], 0)
        # two limits of one row on the path: the later one is tighter, and its price is the row's
        latest = {(limit.row, limit.over): place for place, limit in enumerate(path)}
        fees = [0] * len(path)
        for (row, over), place in latest.items():
            fee = int(prices[row])
            fees[place] = max(0, fee) if over else min(0, fee)
        return np.asarray(solution.col_value)[: len(self.columns)], values, fees

    def _closed(self, path: list[_Limit], values: Whole, fees: list[int]) -> bool:
        """Return True if these prices prove that nothing here is cheaper than the best plan."""
        run, problem = self.run, self.run.problem
        if int(values.max()) * self.most + sum(abs(fee) for fee in fees) >= 1 << 62:
            raise _OpenNode
        gain = self.cuts @ values
        for limit, fee in zip(path, fees, strict=True):
            if fee:
                gain += fee * self._rows[limit.test][1]
        worth = [int(gain[own].max()) if len(own) else 0 for own in self.own]
        bound = int(values @ self.counts) + sum(fee * limit.count for limit, fee in zip(path, fees, strict=True))
        bound += minimise_over_box(problem, self.box, calculate_slopes(problem, run.scale, worth))
        return run.totals.round_up(bound, run.scale) >= run.upper

    def _offer(self, whole: Floats) -> None:
        bars: Bars = [(*self.columns[int(column)], int(whole[column])) for column in np.flatnonzero(whole)]
        made = self.cuts.T @ whole.astype(np.int64)
        if (made >= self.counts).all():
            self.run.offer(bars)

    def _branch(self, shares: Floats) -> tuple[Test, int]:
        """Select the test with the most fractional number of bars: of a kind, of pieces together, of both, of one pattern."""
        used = np.flatnonzero(shares > SURE)
        part = shares[used]
        kinds = self.kinds[used]
        bought: Floats = np.zeros(len(self.run.problem.kinds))
        np.add.at(bought, kinds, part)
        kind = int(_measure_doubt(bought).argmax())
        if _measure_doubt(bought)[kind] > 1e-5:
            return (kind, ()), int(np.floor(bought[kind]))
        for only in (None, *sorted(set(kinds.tolist()))):
            some = np.ones(len(used), dtype=bool) if only is None else kinds == only
            passed = self.passed[used[some]]
            together = passed.T @ (part[some, None] * passed)
            place = int(np.triu(_measure_doubt(together)).argmax())
            first, second = divmod(place, len(self.tests))
            if _measure_doubt(together[first, second]) > 1e-5:
                return (only, self._holds(first, second)), int(np.floor(together[first, second]))
        column = int(used[_measure_doubt(part).argmax()])
        kind, pattern = self.columns[column]
        holds = tuple((piece, times) for piece, times in enumerate(pattern) if times)
        return (kind, holds), int(np.floor(shares[column]))

    def _holds(self, first: int, second: int) -> tuple[tuple[int, int], ...]:
        holds: dict[int, int] = {}
        for place in (first, second):
            piece, times = self.tests[place]
            holds[piece] = max(times, holds.get(piece, 0))
        return tuple(sorted(holds.items()))

    def _row(self, test: Test) -> int:
        """Return the row that counts the bars that pass a test; add it on first use."""
        if test not in self._rows:
            kind, holds = test
            passed = np.ones(len(self.columns), dtype=bool) if kind is None else self.kinds == kind
            for piece, times in holds:
                passed &= self.cuts[:, piece] >= times
            index = np.flatnonzero(passed).astype(np.int32)
            infinity = highspy.kHighsInf
            self._solver.addRow(-infinity, infinity, len(index), index, np.ones(len(index)))
            self._rows[test] = (self._first + len(self._rows), passed)
        return self._rows[test][0]


def pack_columns(
    run: SearchState, box: VariableBounds, columns: Columns, nodes: int
) -> PatternBranch | ProofEnd | None:
    """Pack with these patterns; return the proof that no cheaper plan is left, or None if the nodes are used up."""
    kinds = {kind for kind, _ in columns}
    low, high = box
    if not columns or any(least and kind not in kinds for kind, least in enumerate(low)):
        # no pattern for a better plan, or too few for this box: a piece at the price of the whole plan proves it
        return ProofEnd((run.upper * run.scale, *([0] * (len(run.problem.counts) - 1))), ())
    high = tuple(most if kind in kinds else 0 for kind, most in enumerate(high))
    return PatternBranching(run, (low, high), columns, nodes).solve()


def _measure_doubt(numbers: NDArray[np.float64]) -> Floats:
    """Return the distance of each number from a whole one."""
    return np.abs(numbers - np.rint(numbers))
