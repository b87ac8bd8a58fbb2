"""Search in the current process, and tie breaking after the cost is proved."""

from __future__ import annotations

from fencing.cutting.branch_and_price import Search, SearchResult
from fencing.cutting.demand import Demand
from fencing.cutting.plan_builder import plan_of
from fencing.cutting.plan_model import CutPlan, Progress, Status
from fencing.cutting.problem import problem_of
from fencing.cutting.tie_breaking import polish
from fencing.cutting.work_limit import Effort


def search_here(
    demand: Demand, work: int, progress: Progress | None = None, most_columns: int | None = None
) -> CutPlan:
    """Search in this process until the plan is proved or the allowed work is done."""
    problem = problem_of(demand)
    effort = Effort(work, None if progress is None else lambda: progress(None))

    def report(found: SearchResult) -> None:
        if progress is not None and not progress(plan_of(demand, problem, found)):
            effort.limit = 0

    search = Search(problem, effort, report)
    if most_columns is not None:
        search.run.most_columns = most_columns
    return plan_of(demand, problem, search.solve())


def polished(plan: CutPlan, work: int) -> CutPlan:
    """Return a proved plan with a longer offcut or fewer patterns, as far as the work allows; other plans unchanged."""
    return polish(plan, Effort(work)) if plan.status is Status.OPTIMAL else plan
