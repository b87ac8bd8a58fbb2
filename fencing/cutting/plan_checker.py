"""Independent check of a plan and its proof in plain Python, without solver, numpy or the search.

It relies on the demand only. If a leaf lists patterns, they are listed here again. Leaves marked ``mip`` rely on
HiGHS. They are counted, but not checked.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

from fencing.cutting.demand import Demand
from fencing.cutting.plan_model import CutBar, CutPlan, Status
from fencing.cutting.proof_checker import Proof


@dataclass(frozen=True, slots=True)
class PlanCheck:
    """The result of a check.

    ``faults`` are sentences; ``proved`` is the exact bound; ``taken`` counts unchecked leaves.
    """

    faults: tuple[str, ...]
    proved: int | None
    taken: int


def check(plan: CutPlan) -> PlanCheck:
    """Check a plan: every piece is cut, every bar is possible, the cost is right, the certificate proves the bound.

    Returns:
        The errors (none for a sound plan), the exact bound in units of the price, and the number of unchecked leaves.

    Source: weak duality of linear programming; Vance et al. 1994 for the decomposition; house rule for the form.
    """
    if plan.status is Status.INFEASIBLE:
        return PlanCheck((), None, 0)
    faults = [*_bar_faults(plan), *_cover_faults(plan), *_cost_faults(plan)]
    if plan.certificate is None:
        return PlanCheck(tuple(faults), None, 0)
    proof = Proof(plan.demand, plan.certificate, plan.cost)
    proved = proof.bound()
    faults += proof.faults
    if plan.status is Status.OPTIMAL and not proof.taken and proved < plan.cost:
        faults.append(f"called optimal at {plan.cost}, but only {proved} is proved")
    if proved < plan.bound and not proof.taken:
        faults.append(f"the bound {plan.bound} is not proved, {proved} is")
    return PlanCheck(tuple(faults), proved, proof.taken)


def _bar_faults(plan: CutPlan) -> list[str]:
    faults: list[str] = []
    used: Counter[int] = Counter()
    for bar in plan.bars:
        used[bar.stock] += bar.count
        faults += _one_bar(plan.demand, bar)
    for row, count in used.items():
        have = plan.demand.stock[row].have
        if have is not None and count > have:
            faults.append(f"{count} bars of stock {row}, there are {have}")
    return faults


def _one_bar(demand: Demand, bar: CutBar) -> list[str]:
    stock = demand.stock[bar.stock]
    pieces = [length for length, count in bar.cuts for _ in range(count)]
    place = 0
    for number, length in enumerate(pieces):
        place += length + (demand.kerf if number else 0)
    room = stock.length - stock.trim
    left = max(0, room - place - demand.kerf)
    wrong = {
        "no pieces": not pieces,
        f"cut to {place} of {room} mm": place > room,
        f"left {bar.left}, should be {left}": bar.left != left,
        "keep is wrong": bar.keep != (left >= stock.keep),
        "credit without a remnant": bar.credited and (left < stock.keep or not stock.credit),
        "no count": bar.count < 1,
    }
    return [f"bar of {stock.length} mm: {what}" for what, is_so in wrong.items() if is_so]


def _cover_faults(plan: CutPlan) -> list[str]:
    made: Counter[int] = Counter()
    for bar in plan.bars:
        for length, count in bar.cuts:
            made[length] += count * bar.count
    wanted = Counter(dict(plan.demand.pieces))
    lengths = sorted(set(made) | set(wanted))
    return [f"{made[mm]} of {mm} mm, wanted {wanted[mm]}" for mm in lengths if made[mm] != wanted[mm]]


def _cost_faults(plan: CutPlan) -> list[str]:
    cost = 0
    for bar in plan.bars:
        stock = plan.demand.stock[bar.stock]
        cost += bar.count * (stock.price + stock.handling - (stock.credit if bar.credited else 0))
    right = cost == plan.cost and plan.bound <= cost
    return [] if right else [f"cost {plan.cost}, bound {plan.bound}; the bars cost {cost}"]
