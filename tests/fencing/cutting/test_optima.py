"""Plans against published optima, every way of cutting tiny demands, lower bounds, and fences of hundreds of lengths.

Paper mill: Wikipedia, "Cutting stock problem" (73 rolls; a greedy packer needs 82). Chvátal, Linear Programming, chapter 13
(453). The AMPL book, chapter 15, cut.dat (47). Winston, Operations Research (19 boards).
"""

from __future__ import annotations

from dataclasses import replace
from itertools import product
from random import Random

import pytest

from fencing.cutting import Budget, Demand, Status, StockLength, plan_cuts
from fencing.cutting.branch_and_price import Search
from fencing.cutting.column_generation import generate_columns
from fencing.cutting.greedy import lay_tight_bars
from fencing.cutting.lower_bounds import find_minimum_payment
from fencing.cutting.plan_checker import check
from fencing.cutting.plan_model import Certificate, Effort, ProofLeaf
from fencing.cutting.problem import BarType, CuttingProblem, build_problem
from fencing.cutting.proof_tables import Ways
from fencing.cutting.worker_process import search_here
from tests.benchmarks.fence_orders import LONG_RAKED, order
from tests.fencing.cutting.orders import checked, cost_or_none, demand, least_cost, tiny

PAPER = [(1380, 22), (1520, 25), (1560, 12), (1710, 14), (1820, 18), (1880, 18), (1930, 20)]
PAPER += [(2000, 10), (2050, 12), (2100, 14), (2140, 16), (2150, 18), (2200, 20)]


@pytest.mark.parametrize(
    ("length", "pieces", "bars"),
    [
        (5600, PAPER, 73),
        (100, [(45, 97), (36, 610), (31, 395), (14, 211)], 453),
        (110, [(20, 48), (45, 35), (50, 24), (55, 10), (75, 8)], 47),
        (17, [(3, 25), (5, 20), (9, 15)], 19),
    ],
    ids=["paper mill", "chvatal", "ampl", "winston"],
)
def test_a_published_optimum_is_found_and_proved(length: int, pieces: list[tuple[int, int]], bars: int) -> None:
    plan = checked(demand(0, pieces, [StockLength(length, 1)]))
    assert plan.status is Status.OPTIMAL
    assert (plan.cost, plan.bound, sum(bar.count for bar in plan.bars)) == (bars, bars, bars)


def test_triplets_that_leave_nothing_are_all_found() -> None:
    # Falkenauer 1996, class T: every bin of 1000 holds exactly three items, so 60 items need 20 bins and waste is 0.
    # Made here by that rule: 20 triples that add up to 1000.
    triples = [(380 + 3 * n, 310 - n, 310 - 2 * n) for n in range(20)]
    assert {sum(triple) for triple in triples} == {1000}
    plan = checked(demand(0, [(length, 1) for triple in triples for length in triple], [StockLength(1000, 1)]))
    assert (plan.status, plan.cost) == (Status.OPTIMAL, 20)
    assert all(bar.left == 0 for bar in plan.bars)


@pytest.mark.parametrize("block", range(10))
def test_a_plan_costs_what_trying_everything_costs(block: int) -> None:
    for seed in range(block * 200, block * 200 + 200):
        asked = tiny(seed)
        plan = plan_cuts(asked, Budget(polish=seed % 2 == 0))
        assert plan.status is not Status.GAP, seed
        assert check(plan).faults == (), seed
        assert cost_or_none(plan) == least_cost(asked), seed


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
