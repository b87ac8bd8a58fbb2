"""Bounds from whole bars: the least total that buys bars worth as much as all pieces, in the search and in the check."""

from __future__ import annotations

from dataclasses import replace
from itertools import product
from random import Random

import pytest

from fencing.cutting import Demand, Status, StockLength
from fencing.cutting.branch_and_price import Search
from fencing.cutting.column_generation import generate_columns
from fencing.cutting.lower_bounds import find_minimum_payment
from fencing.cutting.plan_checker import check
from fencing.cutting.plan_model import Certificate, Effort, ProofLeaf
from fencing.cutting.problem import BarType, CuttingProblem, build_problem
from fencing.cutting.proof_tables import Ways
from tests.fencing.cutting.orders import checked, demand


def test_prices_prove_more_with_whole_bars() -> None:
    # 3 × 3000 are worth 15 when a 6000 at 10 is worth its price. 16 and 17 can be paid (8 + 8, 8 + 9), but for two bars that
    # are worth 5 each: the least that is worth 15 is 10 + 8
    plan = checked(demand(0, [(3000, 3)], [StockLength(6000, 10), StockLength(4000, 9), StockLength(3000, 8)]))
    assert (plan.status, plan.cost, plan.bound) == (Status.OPTIMAL, 18, 18)


def whole_bars(random: Random) -> tuple[CuttingProblem, list[int], list[int], list[int], int]:
    """Kinds with their worth, a box, and the demand."""
    kinds = tuple(
        BarType(1 + place, random.choice((0, *range(1, 12))), random.randint(1, 4), ((place, False),))
        for place in range(random.randint(1, 4))
    )
    worth = [random.randint(0, 15) for _ in kinds]
    low = [random.choice((0, 0, 1)) for _ in kinds]
    high = [least + random.randint(0, 3) for least in low]
    return CuttingProblem((1,), (9,), kinds, (), None), worth, low, high, random.randint(0, 60)


def test_the_least_paid_is_what_trying_every_number_of_bars_finds() -> None:
    beyond = 0
    for seed in range(400):
        problem, worth, low, high, wanted = whole_bars(Random(seed))  # noqa: S311 - invented numbers, not secrets
        costs = [kind.cost for kind in problem.kinds]
        totals = [
            sum(cost * bars for cost, bars in zip(costs, bought, strict=True))
            for bought in product(*(range(least, most + 1) for least, most in zip(low, high, strict=True)))
            if sum(item * bars for item, bars in zip(worth, bought, strict=True)) >= wanted
        ]
        right = min([40, *totals])
        assert find_minimum_payment(problem, (tuple(low), tuple(high)), worth, wanted, 40)[0] == right, seed
        stock = tuple(StockLength(kind.width, kind.cost, kind.limit) for kind in problem.kinds)
        rows = tuple(kind.rows for kind in problem.kinds)
        ways = Ways(Demand(0, ((1, 9),), stock), Certificate(rows, 1, 1, ProofLeaf("open", 0, (0,))), 40)
        assert min(40, ways.least_paid(wanted, worth, low, high)) == right, seed
        beyond += right == 40
    assert 20 < beyond < 380


def test_a_leaf_that_claims_more_than_whole_bars_prove_is_not_believed() -> None:
    plan = checked(demand(0, [(3000, 3)], [StockLength(6000, 10), StockLength(4000, 9), StockLength(3000, 8)]))
    assert plan.certificate is not None
    # 4 × 8 for four bars of one piece: dearer than needed, and a certificate that states the opposite
    dear = replace(plan, bars=(replace(plan.bars[-1], count=3),), cost=24, bound=24)
    tree = ProofLeaf("exact", 24, checked(plan.demand).certificate.tree.values)  # type: ignore[union-attr]
    data = check(replace(dear, certificate=replace(plan.certificate, tree=tree))).faults
    assert "called optimal at 24, but only 18 is proved" in data


@pytest.mark.parametrize("seed", [1, 2, 7])
def test_lengths_needed_once_do_not_end_the_search_for_patterns_early(seed: int) -> None:
    # the best pattern that contains a piece may count it twice: cut back to one it can be a pattern known already
    random = Random(seed * 100 + 12)  # noqa: S311 - invented lengths, not secrets
    pieces = [(length, 1) for length in random.sample(range(300, 2400), 12)]
    problem = build_problem(
        demand(3, pieces, [StockLength(6000, 4262), StockLength(4200, 3276), StockLength(3000, 2583)], 2)
    )
    search = Search(problem, Effort(10**7))
    priced = generate_columns(search.run, problem.counts, search.root.box)
    assert priced.relaxed.cost - priced.bound / search.run.scale < 0.01
