"""The same problem as a flow along the bar (Valério de Carvalho 1999) on HiGHS: no patterns, no pricing, no code of ours."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import highspy
import numpy as np

from fencing.cutting import Demand
from fencing.cutting.master_problem import make_solver

Arc = tuple[int, int, int]


@dataclass(frozen=True, slots=True)
class Flow:
    """``cost`` of the best plan within the time, None without one; ``proved``: none is cheaper."""

    cost: int | None
    proved: bool


def arc_flow(asked: Demand, seconds: float = 60.0) -> int | None:
    """Least cost proved within the time, else None."""
    flow = flow_along(asked, seconds)
    return flow.cost if flow.proved else None


def flow_along(asked: Demand, seconds: float) -> Flow:
    """The cheapest bars as paths from 0 to a bar's end, over places that pieces laid longest first can reach."""
    ends = [stock.usable + asked.kerf for stock in asked.stock]
    arcs = _arcs(asked, max(ends))
    places = sorted({0, *ends, *(end for _, end, _ in arcs)})
    # what is left over: from every place to the next one
    arcs += [(start, end, -1) for start, end in pairwise(places)]
    row_of = {place: row for row, place in enumerate(places)}
    starts, index, value = [0], [], []
    for start, end, piece in arcs:
        index += [row_of[start], row_of[end], *([len(places) + piece] if piece >= 0 else [])]
        value += [-1.0, 1.0, *([1.0] if piece >= 0 else [])]
        starts.append(len(index))
    for end in ends:
        index += [row_of[end], 0]
        value += [-1.0, 1.0]
        starts.append(len(index))
    counts = [float(count) for _, count in asked.pieces]
    model = highspy.HighsLp()
    model.num_col_, model.num_row_ = len(starts) - 1, len(places) + len(counts)
    model.col_cost_ = np.array([0.0] * len(arcs) + [float(stock.cost) for stock in asked.stock])
    model.col_lower_ = np.zeros(model.num_col_)
    most = [counts[piece] if piece >= 0 else highspy.kHighsInf for _, _, piece in arcs]
    have = [highspy.kHighsInf if stock.have is None else float(stock.have) for stock in asked.stock]
    model.col_upper_ = np.array(most + have)
    model.row_lower_ = np.array([0.0] * len(places) + counts)
    model.row_upper_ = np.array([0.0] * len(places) + [highspy.kHighsInf] * len(counts))
    model.a_matrix_.format_ = highspy.MatrixFormat.kColwise
    model.a_matrix_.start_ = np.array(starts, dtype=np.int32)
    model.a_matrix_.index_ = np.array(index, dtype=np.int32)
    model.a_matrix_.value_ = np.array(value)
    model.integrality_ = [highspy.HighsVarType.kInteger] * model.num_col_
    return _solved(model, seconds)


def _arcs(asked: Demand, longest: int) -> list[Arc]:
    """A piece may start where longer ones, or fewer of its own than there are, can end."""
    reached, arcs = {0}, set[Arc]()
    for piece, (length, count) in enumerate(asked.pieces):
        width = length + asked.kerf
        layer = set(reached)
        for _ in range(min(count, longest // width)):
            layer = {place + width for place in layer if place + width <= longest}
            arcs |= {(place - width, place, piece) for place in layer}
            reached |= layer
    return sorted(arcs)


def _solved(model: highspy.HighsLp, seconds: float) -> Flow:
    solver = make_solver()
    for option, setting in (
        ("mip_rel_gap", 0.0),
        ("mip_abs_gap", 0.999),
        ("time_limit", seconds),
    ):
        solver.setOptionValue(option, setting)
    solver.passModel(model)
    solver.run()
    info = solver.getInfo()
    if info.primal_solution_status != highspy.SolutionStatus.kSolutionStatusFeasible:
        return Flow(None, False)
    proved = solver.getModelStatus() == highspy.HighsModelStatus.kOptimal
    return Flow(round(info.objective_function_value), proved)
