"""Three general ways to cut the same orders, each as well as it can be put: what our own search is measured beside.

First-fit decreasing knows one length of bin. The flow along the bar and the assignment of pieces to bars know all of it: every
stock length with its price, the remnants, the kerf. Both get one thread and the same limit, and start from no luck.
"""

from __future__ import annotations

from dataclasses import dataclass

from binpacking.to_constant_volume import to_constant_volume
from ortools.sat.python import cp_model

from fencing.cutting import Demand
from fencing.cutting.greedy import calculate_cost, fill_greedily
from fencing.cutting.problem import CuttingProblem, build_problem
from tests.fencing.cutting.arc_flow import flow_along


@dataclass(frozen=True, slots=True)
class Answer:
    """``cost`` of the best plan, None without one; ``proved`` to be the cheapest."""

    cost: int | None
    proved: bool


def first_fit(asked: Demand, _: float) -> Answer:
    """First-fit decreasing by ``binpacking`` on the one stock length that comes out cheapest; it knows no remnants."""
    widths = [length + asked.kerf for length, count in asked.pieces for _ in range(count)]
    costs = [
        len(to_constant_volume(widths, stock.usable + asked.kerf)) * stock.cost
        for stock in asked.stock
        if stock.have is None and stock.usable >= asked.pieces[0][0]
    ]
    return Answer(min(costs), False)


def arc_flow(asked: Demand, seconds: float) -> Answer:
    """A flow along the bar on HiGHS."""
    flow = flow_along(asked, seconds)
    return Answer(flow.cost, flow.proved)


def assignment(asked: Demand, seconds: float) -> Answer:
    """Pieces to bars on CP-SAT: how many of each length a bar holds and what it is cut from.

    As many bars as a plan no dearer than a greedy one can have, longest first so that equal ones are not tried in every order;
    that plan is the start and its cost the most, and the total length is a constraint of its own.
    """
    problem = build_problem(asked)
    start = _greedy(problem)
    model = cp_model.CpModel()
    pieces, kinds = range(len(problem.widths)), range(len(problem.kinds))
    holds, cut_from = [], []
    for bar, (first, pattern) in enumerate(start):
        widest = problem.widest
        most = [min(count, widest // width) for width, count in zip(problem.widths, problem.counts, strict=True)]
        holds.append([model.new_int_var(0, most[piece], f"holds {bar} {piece}") for piece in pieces])
        cut_from.append([model.new_bool_var(f"from {bar} {kind}") for kind in kinds])
        model.add_at_most_one(cut_from[-1])
        room = sum(problem.kinds[kind].width * cut_from[bar][kind] for kind in kinds)
        model.add(sum(problem.widths[piece] * holds[bar][piece] for piece in pieces) <= room)
        if bar:
            before = sum(problem.kinds[kind].width * cut_from[bar - 1][kind] for kind in kinds)
            model.add(before >= room)
        for piece in pieces:
            model.add_hint(holds[bar][piece], pattern[piece])
        for kind in kinds:
            model.add_hint(cut_from[bar][kind], int(kind == first))
    for piece in pieces:
        model.add(sum(hold[piece] for hold in holds) >= problem.counts[piece])
    for kind in kinds:
        limit = problem.kinds[kind].limit
        if limit is not None:
            model.add(sum(item[kind] for item in cut_from) <= limit)
    length = sum(width * count for width, count in zip(problem.widths, problem.counts, strict=True))
    model.add(sum(problem.kinds[kind].width * item[kind] for item in cut_from for kind in kinds) >= length)
    cost = sum(problem.kinds[kind].cost * item[kind] for item in cut_from for kind in kinds)
    model.add(cost <= sum(problem.kinds[kind].cost for kind, _ in start if kind is not None))
    model.minimize(cost)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = 1
    solver.parameters.max_time_in_seconds = seconds
    status = solver.solve(model)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return Answer(None, False)
    return Answer(round(solver.objective_value) * problem.money, status == cp_model.OPTIMAL)


def _greedy(problem: CuttingProblem) -> list[tuple[int | None, tuple[int, ...]]]:
    """The bars of our own first plan, one by one, longest stock first, and as many empty ones as a cheaper plan could add."""
    plans = [plan for thrift in (1.0, 0.0) if (plan := fill_greedily(problem, problem.counts, [], thrift)) is not None]
    best = min(plans, key=lambda plan: calculate_cost(problem, plan))
    bars = [(kind, pattern) for kind, pattern, times in best for _ in range(times)]
    bars.sort(key=lambda bar: -problem.kinds[bar[0]].width)
    cheapest = min(kind.cost for kind in problem.kinds if kind.limit is None)
    most = calculate_cost(problem, best) // cheapest + sum(
        kind.limit for kind in problem.kinds if kind.limit is not None
    )
    empty = (None, (0,) * len(problem.counts))
    return [*bars, *[empty] * (min(most, sum(problem.counts)) - len(bars))]
