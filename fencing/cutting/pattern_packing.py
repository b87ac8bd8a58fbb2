"""Pattern packing: lists all patterns of a better plan and solves an integer programme over them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import Enum

import highspy
import numpy as np

from fencing.cutting.column_generation import SearchState
from fencing.cutting.greedy import Bars, count_used
from fencing.cutting.knapsack import Pattern, build_suffix_tables, find_most_worth
from fencing.cutting.master_problem import build_model, list_entries, make_solver
from fencing.cutting.problem import VariableBounds

Columns = list[tuple[int, Pattern]]
MAX_COMPARED = 500
"""Maximum number of patterns to compare each with two cheaper bars."""


class PackingResult(Enum):
    FOUND = "found"
    NONE = "none"
    OPEN = "open"


@dataclass(slots=True)
class _Listing:
    """One depth-first listing of the patterns of a kind."""

    widths: Sequence[int]
    counts: Sequence[int]
    values: Sequence[int]
    tables: Sequence[Sequence[int]]
    least: int
    most: int
    steps: int
    found: list[Pattern]

    def walk(self, piece: int, room: int, value: int, cut: list[int]) -> bool:
        """List the patterns below this point; return False once there are too many."""
        self.steps -= 1
        if self.steps < 0 or len(self.found) > self.most:
            return False
        if piece == len(self.widths):
            if self._full(cut, room):
                self.found.append(tuple(cut))
            return True
        width, worth, rest = self.widths[piece], self.values[piece], self.tables[piece + 1]
        for times in range(min(self.counts[piece], room // width), -1, -1):
            left = room - times * width
            if value + times * worth + rest[left] >= self.least:
                cut[piece] = times
                if not self.walk(piece + 1, left, value + times * worth, cut):
                    return False
        cut[piece] = 0
        return True

    def _full(self, cut: list[int], room: int) -> bool:
        if room < self.widths[-1]:
            return True
        return all(
            width > room or times >= count for width, times, count in zip(self.widths, cut, self.counts, strict=True)
        )


def list_patterns(run: SearchState, box: VariableBounds, values: list[int], bound: int, most: int) -> Columns | None:
    """List all full patterns that a cheaper plan can use within the box; return None if there are more than ``most``.

    A plan that uses a pattern costs at least the bound plus the pattern's loss against the best of its kind.
    """
    problem = run.problem
    slack = run.target * run.scale - bound
    if (len(problem.widths) + 1) * (problem.widest + 1) > 3_000_000:
        return None
    best = find_most_worth(problem.widths, problem.counts, values, problem.widest)
    tables = build_suffix_tables(problem.widths, problem.counts, values, problem.widest)
    run.effort.spend(tables.size // 100)
    lists = tables.tolist()
    columns: Columns = []
    for place, kind in enumerate(problem.kinds):
        if not box[1][place]:
            continue
        steps = 40 * most
        worth = int(best[kind.width])
        # the bound assumes that a kind stays at its minimum if it costs more than it is worth; otherwise the first bar is extra
        extra = max(0, kind.cost * run.scale - worth) if box[0][place] == 0 else 0
        least = worth + extra - slack
        listing = _Listing(problem.widths, problem.counts, values, lists, least, most - len(columns), steps, [])
        complete = listing.walk(0, kind.width, 0, [0] * len(problem.widths))
        run.effort.spend((steps - listing.steps) // 2)
        if not complete:
            return None
        columns.extend((place, pattern) for pattern in listing.found)
    return _keep_needed(run, columns)


def _keep_needed(run: SearchState, columns: Columns) -> Columns:
    """Remove patterns that two bars of an unlimited kind replace at a lower cost.

    The cheapest plan of all has none of them.
    """
    problem = run.problem
    free = sorted(
        (kind.cost, kind.width)
        for place, kind in enumerate(problem.kinds)
        if kind.limit is None and place != problem.absent
    )
    if not free or len(columns) > MAX_COMPARED:
        return columns

    def two_for_less(kind: int, pattern: Pattern) -> bool:
        cost = problem.kinds[kind].cost
        if cost <= 2 * free[0][0]:
            return False
        sums = {0}
        for width, times in zip(problem.widths, pattern, strict=True):
            if times:
                sums = {before + item * width for before in sums for item in range(times + 1)}
        whole = max(sums)
        price = {part: next((cost for cost, width in free if width >= part), None) for part in sums}
        pairs = ((price[part], price[whole - part]) for part in sums)
        return any(item is not None and other is not None and item + other < cost for item, other in pairs)

    return [column for column in columns if not two_for_less(*column)]


def search_patterns(
    run: SearchState, box: VariableBounds, columns: Iterable[tuple[int, Pattern]], nodes: int
) -> PackingResult:
    """Look for a plan of these patterns that is cheaper than the best one, and offer it.

    NONE means that HiGHS found that there is none. A leaf closed in this way is marked as proved by ``mip``.
    """
    columns = list(columns)
    if not columns:
        return PackingResult.NONE
    solver = make_solver()
    for option, value in (
        ("mip_max_nodes", nodes),
        ("mip_allow_restart", False),
        ("mip_rel_gap", 0.0),
        ("mip_abs_gap", 0.999),
        ("mip_feasibility_tolerance", 1e-7),
    ):
        solver.setOptionValue(option, value)
    solver.passModel(_build_model(run, box, columns))
    solver.run()
    info = solver.getInfo()
    rows = len(run.problem.widths) + len(run.problem.kinds)
    run.effort.note(2000 + max(0, info.simplex_iteration_count) * (100 + rows) + max(0, info.mip_node_count) * 1000)
    status = solver.getModelStatus()
    statuses = highspy.HighsModelStatus
    if status == statuses.kInfeasible:
        return PackingResult.NONE
    if info.primal_solution_status != highspy.SolutionStatus.kSolutionStatusFeasible:
        return PackingResult.OPEN
    counts = [round(value) for value in solver.getSolution().col_value]
    bars: Bars = [(*column, times) for column, times in zip(columns, counts, strict=True) if times > 0]
    if not _is_cover(run, box, bars):
        return PackingResult.OPEN
    run.offer(bars)
    return PackingResult.FOUND if status == statuses.kOptimal else PackingResult.OPEN


def _is_cover(run: SearchState, box: VariableBounds, bars: Bars) -> bool:
    """Return True if the rounded answer is a valid plan. The solver's tolerance is not used."""
    made = np.zeros(len(run.problem.counts), dtype=np.int64)
    bought = count_used(run.problem, bars)
    for _, pattern, times in bars:
        made += times * np.array(pattern)
    shared = all(sum(bought[kind] for kind in members) <= limit for members, limit in run.problem.groups)
    return (
        bool((made >= np.array(run.problem.counts)).all())
        and shared
        and all(count <= most for count, most in zip(bought, box[1], strict=True))
    )


def _build_model(run: SearchState, box: VariableBounds, columns: Columns) -> highspy.HighsLp:
    problem, infinity = run.problem, highspy.kHighsInf
    costs = [problem.kinds[kind].cost for kind, _ in columns]
    total = len(problem.widths) + len(problem.kinds) + len(problem.groups)  # the last row, for the cost of the plan
    entries = [
        [*list_entries(problem, kind, pattern), *([(total, cost)] if cost else [])]
        for (kind, pattern), cost in zip(columns, costs, strict=True)
    ]
    limits = [float(limit) for _, limit in problem.groups]
    rows = (
        [*map(float, problem.counts), *map(float, box[0]), *([-infinity] * (len(limits) + 1))],
        [*([infinity] * len(problem.widths)), *map(float, box[1]), *limits, float(run.target)],
    )
    model = build_model(entries, list(map(float, costs)), [float(box[1][kind]) for kind, _ in columns], rows)
    model.integrality_ = [highspy.HighsVarType.kInteger] * len(columns)
    return model
