"""Small demands to ask for, and the rule every plan in every test is held to."""

from __future__ import annotations

from itertools import product
from random import Random

from fencing.cutting import Budget, CutPlan, Demand, Status, StockLength, plan_cuts
from fencing.cutting.plan_checker import check


def demand(kerf: int, pieces: list[tuple[int, int]], stock: list[StockLength], decimals: int = 0) -> Demand:
    """A demand with its rows merged, longest first."""
    counts: dict[int, int] = {}
    for length, count in pieces:
        counts[length] = counts.get(length, 0) + count
    return Demand(kerf, tuple(sorted(counts.items(), reverse=True)), tuple(stock), decimals)


def checked(asked: Demand, budget: Budget | None = None) -> CutPlan:
    """A plan that the independent checker finds sound."""
    plan = plan_cuts(asked, budget or Budget(work=4_000_000, seconds=20))
    assert check(plan).faults == ()
    return plan


def tiny(seed: int) -> Demand:
    """A random demand small enough to try every way of cutting it."""
    random = Random(seed)  # noqa: S311 - invented demands, not secrets
    kinds = random.randint(1, 4)
    lengths = random.sample(range(3, 30), kinds)
    pieces = [(length, random.randint(1, 2 if kinds > 2 else 4)) for length in lengths]
    stock = []
    for _ in range(random.randint(1, 4)):
        price, handling = random.choice((0, random.randint(1, 30))), random.choice((0, 0, random.randint(1, 5)))
        have = random.choice((None, None, None, random.randint(0, 3)))
        keep, credit = random.choice((5, 10, 1000)), random.choice((0, 0, random.randint(0, price + handling)))
        stock.append(StockLength(random.randint(15, 60), price, have, random.choice((0, 0, 2)), handling, keep, credit))
    return demand(random.choice((0, 0, 1, 3)), pieces, stock)


def least_cost(asked: Demand) -> int | None:
    """The least cost by trying every way to cut every bar; None where the pieces can't all be cut."""
    lengths = [length for length, _ in asked.pieces]
    known: dict[tuple[tuple[int, ...], tuple[int, ...]], int | None] = {}

    def ways(need: tuple[int, ...], stock: StockLength, first: int) -> list[tuple[tuple[int, ...], int]]:
        found = []
        for cut in product(*(range(count + 1) for count in need)):
            used = sum(times * length for times, length in zip(cut, lengths, strict=True)) + (sum(cut) - 1) * asked.kerf
            if cut[first] and used <= stock.usable:
                left = max(0, stock.usable - used - asked.kerf)
                found.append((cut, stock.cost - (stock.credit if left >= stock.keep else 0)))
        return found

    def best(need: tuple[int, ...], have: tuple[int, ...]) -> int | None:
        if not any(need):
            return 0
        if (need, have) not in known:
            first = next(place for place, count in enumerate(need) if count)
            totals = []
            for row, stock in enumerate(asked.stock):
                for cut, cost in ways(need, stock, first) if have[row] else ():
                    rest = tuple(count - times for count, times in zip(need, cut, strict=True))
                    after = best(rest, (*have[:row], have[row] - 1, *have[row + 1 :]))
                    totals += [] if after is None else [cost + after]
            known[need, have] = min(totals, default=None)
        return known[need, have]

    pieces = asked.count
    return best(
        tuple(count for _, count in asked.pieces), tuple(pieces if s.have is None else s.have for s in asked.stock)
    )


def cost_or_none(plan: CutPlan) -> int | None:
    return None if plan.status is Status.INFEASIBLE else plan.cost
