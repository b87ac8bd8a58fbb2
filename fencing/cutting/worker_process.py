"""Search in this process, or in a separate one that can be killed: HiGHS does not always respect a time limit.

The child writes every better plan as one frame; whatever ends it, the last whole frame is the answer.
"""

from __future__ import annotations

import pickle
import struct
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from threading import Timer
from typing import IO, Any

from fencing.cutting.branch_and_price import Search, SearchResult
from fencing.cutting.plan_builder import build_plan, polish
from fencing.cutting.plan_model import Budget, CutPlan, Demand, Effort, Progress, Status
from fencing.cutting.problem import build_problem


def search_here(
    demand: Demand, work: int, progress: Progress | None = None, most_columns: int | None = None
) -> CutPlan:
    """Search in this process until the plan is proved or the allowed work is done."""
    problem = build_problem(demand)
    effort = Effort(work, None if progress is None else lambda: progress(None))

    def report(found: SearchResult) -> None:
        if progress is not None and not progress(build_plan(demand, problem, found)):
            effort.limit = 0

    search = Search(problem, effort, report)
    if most_columns is not None:
        search.run.most_columns = most_columns
    return build_plan(demand, problem, search.solve())


def polish_proved(plan: CutPlan, work: int) -> CutPlan:
    """Return a proved plan with a longer offcut or fewer patterns, as far as the work allows; other plans unchanged."""
    return polish(plan, Effort(work)) if plan.status is Status.OPTIMAL else plan


ROOT = Path(__file__).resolve().parents[2]
HEAD = struct.Struct(">I")


def search_apart(demand: Demand, budget: Budget, progress: Progress | None = None) -> CutPlan | None:
    """Return the best plan that a worker process finds within the budget; None if it was stopped before it had one."""
    command = [sys.executable, "-m", "fencing.cutting.worker_process"]
    pipes: dict[str, Any] = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE}
    # a session of its own: Ctrl-C reaches only this process, which ends the child
    child = subprocess.Popen(command, cwd=ROOT, start_new_session=True, **pipes)  # noqa: S603 - ourselves
    guard = Timer(budget.seconds, child.kill)
    guard.start()
    last: CutPlan | None = None
    done = False
    try:
        if child.stdin is None or child.stdout is None:
            raise RuntimeError("a worker without pipes")
        with child.stdin as pipe:
            pickle.dump((demand, budget), pipe)
        while (frame := _read(child.stdout)) is not None:
            done, plan = frame
            last = plan or last
            if progress is not None and not progress(plan):
                break
    except BrokenPipeError:
        pass
    finally:
        guard.cancel()
        child.kill()
        if child.stdout is not None:
            child.stdout.close()
        child.wait()
    return last if last is None or done else replace(last, stopped_early=True)


def _read(pipe: IO[bytes]) -> tuple[bool, CutPlan | None] | None:
    """Read the next whole frame: (is it the last, the plan or None for a heartbeat); None at the end."""
    head = pipe.read(HEAD.size)
    if len(head) < HEAD.size:
        return None
    (size,) = HEAD.unpack(head)
    body = pipe.read(size)
    if len(body) < size:
        return None
    done, plan = pickle.loads(body)  # noqa: S301 - written by our own child
    return bool(done), plan


def _write(pipe: IO[bytes], done: bool, plan: CutPlan | None) -> None:
    body = pickle.dumps((done, plan))
    pipe.write(HEAD.pack(len(body)) + body)
    pipe.flush()


def main() -> None:
    """Run the child: read one demand, search, write frames."""
    pipe = sys.stdout.buffer
    try:
        demand, budget = pickle.load(sys.stdin.buffer)  # noqa: S301 - written by our own parent
    except (EOFError, pickle.UnpicklingError):  # the parent was interrupted while it wrote
        return

    def send_plan(plan: CutPlan | None) -> bool:
        _write(pipe, False, plan)
        return True

    plan = search_here(demand, budget.work, send_plan)
    if budget.polish:
        plan = polish_proved(plan, min(budget.work // 4, 500_000))
    _write(pipe, True, plan)


if __name__ == "__main__":
    main()
