"""Master problem: the linear programme over the known patterns, solved by HiGHS."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate

import highspy
import highspy._core as core  # noqa: PLC2701 - see make_solver
import numpy as np
from numpy.typing import NDArray

from fencing.cutting.knapsack import Pattern
from fencing.cutting.plan_model import Effort
from fencing.cutting.problem import CuttingProblem, VariableBounds

Floats = NDArray[np.float64]
DUAL_SIMPLEX, PRIMAL_SIMPLEX = 1, 4


@dataclass(frozen=True, slots=True)
class RelaxationResult:
    """An optimum of the linear programme: ``shares`` by column, ``missing`` pieces without a pattern, prices of its rows.

    ``worth`` is by piece, ``bought`` by kind (of the kind's own row and of the limits it shares).
    """

    cost: float
    shares: Floats
    missing: float
    worth: Floats
    bought: Floats


def make_solver() -> core._Highs:
    """Return a solver that prints nothing, uses one thread and does not use chance."""
    solver = core._Highs()  # noqa: SLF001 - the public class prints a banner before its output can be switched off
    solver.setOptionValue("output_flag", False)
    solver.setOptionValue("threads", 1)
    solver.setOptionValue("random_seed", 1)
    return solver


def list_entries(problem: CuttingProblem, kind: int, pattern: Pattern) -> list[tuple[int, int]]:
    """Return the (row, value) entries of a pattern's column: its pieces, its kind, and the limits that the kind shares."""
    first = len(problem.widths)
    entries = [(piece, times) for piece, times in enumerate(pattern) if times]
    shared = [place for place, (members, _) in enumerate(problem.groups) if kind in members]
    return [*entries, (first + kind, 1), *((first + len(problem.kinds) + place, 1) for place in shared)]


def build_model(
    columns: Sequence[Sequence[tuple[int, int]]],
    costs: list[float],
    most: list[float],
    rows: tuple[list[float], list[float]],
) -> highspy.HighsLp:
    """Build a programme: the (row, value) entries of each column, its cost and maximum, and the limits of the rows."""
    model = highspy.HighsLp()
    model.num_col_, model.num_row_ = len(columns), len(rows[0])
    model.col_cost_, model.col_lower_, model.col_upper_ = np.array(costs), np.zeros(len(columns)), np.array(most)
    model.row_lower_, model.row_upper_ = np.array(rows[0]), np.array(rows[1])
    model.a_matrix_.format_ = highspy.MatrixFormat.kColwise
    model.a_matrix_.start_ = np.array([0, *accumulate(map(len, columns))], dtype=np.int32)
    model.a_matrix_.index_ = np.array([row for column in columns for row, _ in column], dtype=np.int32)
    model.a_matrix_.value_ = np.array([float(entry) for column in columns for _, entry in column])
    return model


class Master:
    """Linear programme with a column for each pattern of a kind. Rows are pieces, then kinds, then shared limits.

    Every piece also has a column that covers it at a penalty, so that a programme in a narrow box always has a
    solution.
    """

    def __init__(self, problem: CuttingProblem, effort: Effort) -> None:
        self.problem = problem
        self.effort = effort
        self.pieces = len(problem.widths)
        self.columns: list[tuple[int, Pattern]] = []
        self._known: dict[tuple[int, Pattern], int] = {}
        self.fine = 10 * max(kind.cost for kind in problem.kinds) + 1
        self._solver = make_solver()
        self._solver.setOptionValue("presolve", "off")
        self._solver.setOptionValue("solver", "simplex")
        self._kind_rows: list[list[int]] = [[self.pieces + kind] for kind in range(len(problem.kinds))]
        for place, (members, _) in enumerate(problem.groups):
            for kind in members:
                self._kind_rows[kind].append(self.pieces + len(problem.kinds) + place)
        self._make_rows()
        self._moved = True

    def _make_rows(self) -> None:
        infinity = highspy.kHighsInf
        none = np.array([], dtype=np.int32)
        for count in self.problem.counts:
            self._solver.addRow(float(count), infinity, 0, none, np.array([], dtype=np.float64))
        for _ in self.problem.kinds:
            self._solver.addRow(0.0, infinity, 0, none, np.array([], dtype=np.float64))
        for _, limit in self.problem.groups:
            self._solver.addRow(-infinity, float(limit), 0, none, np.array([], dtype=np.float64))
        for piece in range(self.pieces):
            self._solver.addCol(float(self.fine), 0.0, infinity, 1, np.array([piece], np.int32), np.array([1.0]))

    def raise_fine(self, most: int) -> bool:
        """Make a missing piece ten times dearer; return False if it is dear enough."""
        if self.fine >= most:
            return False
        self.fine = min(most, self.fine * 10)
        places = np.arange(self.pieces, dtype=np.int32)
        self._solver.changeColsCost(self.pieces, places, np.full(self.pieces, float(self.fine)))
        return True

    def add(self, kind: int, pattern: Pattern) -> bool:
        """Add a pattern; return False if it is known."""
        key = (kind, pattern)
        if key in self._known:
            return False
        self._known[key] = len(self.columns)
        self.columns.append(key)
        column = list_entries(self.problem, kind, pattern)
        rows = np.array([row for row, _ in column], dtype=np.int32)
        entries = np.array([entry for _, entry in column], dtype=np.float64)
        cost = float(self.problem.kinds[kind].cost)
        self._solver.addCol(cost, 0.0, highspy.kHighsInf, len(rows), rows, entries)
        return True

    def set_need(self, counts: tuple[int, ...], box: VariableBounds) -> None:
        """Set the pieces to cover and the number of bars of each kind."""
        rows = len(counts) + len(box[0])
        lower = np.array([*counts, *box[0]], dtype=np.float64)
        upper = np.array([*([highspy.kHighsInf] * len(counts)), *box[1]], dtype=np.float64)
        self._solver.changeRowsBounds(rows, np.arange(rows, dtype=np.int32), lower, upper)  # type: ignore[attr-defined]
        self._moved = True

    def set_shared(self, limits: list[int]) -> None:
        """Set the remaining shared limits."""
        first = self.pieces + len(self.problem.kinds)
        for place, limit in enumerate(limits):
            self._solver.changeRowBounds(first + place, -highspy.kHighsInf, float(limit))

    def solve(self) -> RelaxationResult:
        """Solve again from the last solution: dual simplex after rows changed, primal after columns were added."""
        strategy = DUAL_SIMPLEX if self._moved else PRIMAL_SIMPLEX
        self._solver.setOptionValue("simplex_strategy", strategy)
        self._solver.run()
        if self._solver.getModelStatus() != highspy.HighsModelStatus.kOptimal:
            self._solver.clearSolver()
            self._solver.setOptionValue("simplex_strategy", DUAL_SIMPLEX)
            self._solver.run()
        self._moved = False
        info = self._solver.getInfo()
        rows = self.pieces + len(self.problem.kinds)
        self.effort.spend(250 + int(info.simplex_iteration_count) * (8 + rows // 4) + len(self.columns) // 4)
        solution = self._solver.getSolution()
        values = np.asarray(solution.col_value)
        duals = np.asarray(solution.row_dual)
        bought = np.array([sum(duals[row] for row in own) for own in self._kind_rows])
        missing = float(values[: self.pieces].sum())
        worth = np.maximum(duals[: self.pieces], 0.0)
        return RelaxationResult(info.objective_function_value, values[self.pieces :], missing, worth, bought)
