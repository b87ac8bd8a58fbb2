"""Planner: turns a demand and a budget into a plan with its proof."""

from __future__ import annotations

from dataclasses import replace
from time import monotonic

from fencing.cutting.plan_model import INTERACTIVE, Budget, CutPlan, Demand, Progress, Status

QUICK = 200_000
"""Work to do before a worker process is started; integer programmes stay very small in it."""
QUICK_COLUMNS = 250
START_S = 0.3
"""Minimum time [s] for a worker process: with less it would end during its start."""


def list_oversized_pieces(demand: Demand) -> tuple[tuple[int, int], ...]:
    """Return the pieces (length [mm], count) that are longer than every stock length.

    >>> from fencing.cutting.plan_model import StockLength
    >>> list_oversized_pieces(Demand(3, ((5000, 1), (2390, 4)), (StockLength(4800, 3650),)))
    ((5000, 1),)
    """
    longest = max((stock.usable for stock in demand.stock if stock.have != 0), default=0)
    return tuple((length, count) for length, count in demand.pieces if length > longest)


def plan_cuts(demand: Demand, budget: Budget = INTERACTIVE, progress: Progress | None = None) -> CutPlan:
    """Find the cheapest bars that cover every piece, with a proved lower bound.

    Rule: minimum total of prices and handling less credits. Small demands are solved in this process. If a search is
    not finished there, it goes on in a worker process that is killed after ``budget.seconds``. At equal cost the
    longest useful offcut comes first, then the fewest different patterns.

    Args:
        demand: pieces [mm] and stock.
        budget: work allowed [units of about a microsecond] and the time limit [s].
        progress: called for every better plan of the worker; returns False to stop with the best so far.

    Returns:
        The plan: ``optimal``, ``gap`` or ``infeasible`` (with the pieces that fit no bar).

    Source: Gilmore and Gomory 1961 (columns by knapsack); Vanderbeck 2000 (branching on bars); house rules
    docs/benchmarks.md.

    Example:
        >>> from fencing.cutting.plan_model import Demand, StockLength
        >>> plan = plan_cuts(Demand(3, ((2238, 8),), (StockLength(6000, 3120),)))
        >>> plan.status.value, plan.money(plan.cost), plan.bars[0].left
        ('optimal', '124.80', 1518)
    """
    nowhere = list_oversized_pieces(demand)
    if nowhere:
        return CutPlan(demand, Status.INFEASIBLE, (), 0, 0, nowhere)
    # imported here, not at the top: the solver loads slowly, and code that only reads a demand does not need it
    from fencing.cutting.worker_process import polish_proved, search_here

    begun = monotonic()
    quick = QUICK if len(demand.pieces) <= 100 else QUICK // 10
    plan = search_here(demand, min(budget.work, quick), most_columns=QUICK_COLUMNS)
    if plan.status is Status.OPTIMAL or (plan.status is Status.INFEASIBLE and not plan.stopped_early):
        return polish_proved(plan, min(budget.work, QUICK // 2)) if budget.polish else plan
    if progress is not None and not progress(plan if plan.bars else None):
        return plan
    if budget.work > QUICK and budget.seconds > 0:
        from fencing.cutting.worker_process import search_apart

        left = budget.seconds - (monotonic() - begun)
        later = search_apart(demand, replace(budget, seconds=left), progress) if left > START_S else None
        if later is not None:
            return _choose_best(plan, later)
        plan = replace(plan, stopped_early=True)
    return plan


def _choose_best(first: CutPlan, later: CutPlan) -> CutPlan:
    """Return the cheaper plan with the better of the two bounds, which both hold for either plan."""
    if not first.bars or not later.bars:
        return first if first.bars else later
    best = min(later, first, key=lambda plan: plan.cost)
    proof = max(later, first, key=lambda plan: plan.bound)
    bound = min(proof.bound, best.cost)
    status = Status.OPTIMAL if bound == best.cost else Status.GAP
    limited = later.stopped_early and status is Status.GAP
    return replace(best, status=status, bound=bound, certificate=proof.certificate, stopped_early=limited)
