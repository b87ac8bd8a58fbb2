"""A long raked fence: hundreds of lengths, each needed once or a few times."""

from __future__ import annotations

from fencing.cutting import Status, StockLength
from fencing.cutting.branch_and_price import Search
from fencing.cutting.greedy import lay_tight_bars
from fencing.cutting.plan_checker import check
from fencing.cutting.plan_model import Effort
from fencing.cutting.problem import build_problem
from fencing.cutting.worker_process import search_here
from tests.benchmarks.fence_orders import LONG_RAKED, order
from tests.fencing.cutting.orders import demand


def test_hundreds_of_lengths_are_proved_where_bars_can_waste_nothing() -> None:
    # 385 lengths; one stock length is by far the cheapest per metre, so that bars of it, cut without waste, are the bound
    asked = order(LONG_RAKED, 3)
    plan = search_here(asked, 2_000_000)
    verdict = check(plan)
    assert (len(asked.pieces), plan.status, verdict.faults, verdict.taken) == (385, Status.OPTIMAL, (), 0)


def test_bars_are_laid_full_where_pieces_add_up() -> None:
    # 50 + 30 + 20 and 45 + 35 + 20 fill 100 with nothing left; longest first without looking ahead would take 50 + 45
    problem = build_problem(
        demand(0, [(50, 1), (45, 1), (35, 1), (30, 1), (20, 2)], [StockLength(100, 7), StockLength(60, 5)])
    )
    assert lay_tight_bars(problem, 0) == ((0,) * 5, [(1, (1, 0, 0, 1, 1), 1), (1, (0, 1, 1, 0, 1), 1)])


def test_the_rest_of_bars_that_cost_too_much_already_is_not_planned() -> None:
    problem = build_problem(demand(0, [(50, 2), (30, 1)], [StockLength(100, 7)]))
    search = Search(problem, Effort(10**6))
    # the pieces need two bars at most: three bars at 7 are dearer than any plan kept
    assert search._planned((0, 1), [(0, (1, 0), 3)], 1000) is None
