"""Column generation: the prices of the linear programme select new patterns until none improves it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from fencing.cutting.greedy import Bars, calculate_cost, fill_greedily, trim_bars
from fencing.cutting.knapsack import Knapsack, Pattern, Values, find_most_worth, solve_knapsack
from fencing.cutting.lower_bounds import (
    PayableTotals,
    build_payable_totals,
    calculate_slopes,
    find_scale,
    minimise_over_box,
)
from fencing.cutting.master_problem import Floats, Master, RelaxationResult
from fencing.cutting.plan_model import Effort
from fencing.cutting.problem import CuttingProblem, VariableBounds

SURE = 1e-6
MANY = 60
"""Minimum number of different lengths for mixing prices."""
HELD = 0.6
"""Share of the best prices in the mix. Source: Wentges 1997; the share was measured."""


@dataclass(slots=True)
class SearchState:
    """The state that all parts of a search share: known patterns, the best plan so far and its cost."""

    problem: CuttingProblem
    master: Master
    effort: Effort
    scale: int
    totals: PayableTotals
    bars: Bars
    upper: int
    most_columns: int = 25_000
    """Maximum number of patterns in an integer programme."""
    finish: Callable[[tuple[int, ...], Bars], Bars | None] | None = None
    """Plans the last pieces of a large order; returns a cheaper plan than the best one, or None."""
    last: int = 0
    """Number of pieces left at which ``finish`` is called."""
    floor: int = 0
    """Minimum cost of any plan, as far as known."""
    asked: list[int] = field(default_factory=list)
    """Prices of the pieces at the last solution of the linear programme."""

    @property
    def target(self) -> int:
        """The highest total cost that would still be an improvement."""
        return self.totals.down(self.upper)

    def offer(self, bars: Bars | None) -> bool:
        """Store a plan if it is cheaper than the best one; return True if it is."""
        if bars is None:
            return False
        better = trim_bars(self.problem, bars)
        cost = calculate_cost(self.problem, better)
        if cost >= self.upper:
            return False
        self.upper, self.bars = cost, better
        for kind, pattern, _ in better:
            self.master.add(kind, pattern)
        return True


def start_search(problem: CuttingProblem, effort: Effort, ceiling: int | None = None) -> SearchState:
    """Start a search with the best of several greedy plans. With a ceiling, only a cheaper plan counts."""
    plans = [fill_greedily(problem, problem.counts, [], thrift) for thrift in (1.0, 0.0, 0.9, 1.1)]
    made = [trim_bars(problem, plan) for plan in plans if plan is not None]
    best = min(made, key=lambda plan: calculate_cost(problem, plan))
    master = Master(problem, effort)
    for plan in made:
        for kind, pattern, _ in plan:
            master.add(kind, pattern)
    upper = calculate_cost(problem, best)
    if ceiling is not None and upper >= ceiling:
        best, upper = [], ceiling
    effort.note(len(problem.widths) * sum(len(plan) for plan in made) // 4)
    return SearchState(problem, master, effort, find_scale(problem), build_payable_totals(problem, upper), best, upper)


@dataclass(frozen=True, slots=True)
class PricingResult:
    """The result of column generation.

    ``bound`` (in units of value) holds with ``values``; ``closed``: no better plan here.
    """

    relaxed: RelaxationResult
    bound: int
    values: list[int]
    closed: bool


def generate_columns(
    run: SearchState, need: tuple[int, ...], box: VariableBounds, rounds: int = 1000, until: int | None = None
) -> PricingResult:
    """Solve the linear programme over all patterns for ``need`` within ``box``.

    Stop early if no better plan is possible here, or when the work reaches ``until``. The bound is valid in each case.
    """
    problem, master, scale = run.problem, run.master, run.scale
    master.set_need(need, box)
    bound, best_values = -1, [0] * len(need)
    ceiling = max(run.upper + 1, master.fine)
    most_fine = min(ceiling * 100, (1 << 61) // scale // (problem.widest // problem.widths[-1] + 1))
    relaxed = master.solve()
    steady = len(need) >= MANY
    while rounds > 0:
        rounds -= 1
        prices = np.minimum(relaxed.worth * scale, float(most_fine) * scale)
        held = steady and bound >= 0 and relaxed.missing < SURE
        values = _mix_prices(prices, best_values) if held else [int(item) for item in prices]
        sack = solve_knapsack(problem.widths, need, values, problem.widest)
        run.effort.spend(sack.cells // 500 + 100)
        run.asked = values
        here = _find_bound(run, need, box, values, sack.best)
        if here > bound:
            bound, best_values = here, values
        if run.totals.round_up(bound, scale) >= run.upper:
            return PricingResult(relaxed, bound, best_values, True)
        spent = until is not None and run.effort.done > until
        if relaxed.missing < SURE and (spent or _is_bound_final(run, relaxed, bound)):
            break
        added = _add_columns(run, sack, relaxed)
        run.effort.spend(60 * added)
        if held and not added:
            steady = False
            continue
        if not added and (relaxed.missing < SURE or not master.raise_fine(most_fine)):
            break
        relaxed = master.solve()
    return PricingResult(relaxed, bound, best_values, False)


def _find_bound(run: SearchState, need: tuple[int, ...], box: VariableBounds, values: list[int], best: Values) -> int:
    """Return the minimum cost of a plan in the box at these prices. ``best`` is the maximum value for each width."""
    worth = [int(best[kind.width]) for kind in run.problem.kinds]
    pieces = sum(count * value for count, value in zip(need, values, strict=True))
    return pieces + minimise_over_box(run.problem, box, calculate_slopes(run.problem, run.scale, worth))


def _mix_prices(prices: Floats, best: list[int]) -> list[int]:
    """Mix the prices of the programme with the best prices so far. This needs far fewer rounds."""
    return [int(item) for item in HELD * np.array(best, dtype=np.float64) + (1 - HELD) * prices]


def find_unfinished_bound(run: SearchState, box: VariableBounds) -> tuple[int, list[int]]:
    """Return a bound for the whole order, and its prices: from unfinished prices, or from length alone."""
    by_length = [width * run.scale for width in run.problem.widths]
    prices = run.asked if len(run.asked) == len(by_length) else by_length
    return max(_find_scaled_bound(run, box, values) for values in (prices, by_length))


def _find_scaled_bound(run: SearchState, box: VariableBounds, prices: list[int]) -> tuple[int, list[int]]:
    """Scale prices down until no bar of an unlimited type is worth more than it costs (Farley 1990)."""
    problem, scale = run.problem, run.scale
    best = find_most_worth(problem.widths, problem.counts, prices, problem.widest)
    over, under = 1, 0
    for kind in problem.kinds:
        worth = int(best[kind.width])
        if kind.limit is None and kind.cost * scale * under < over * worth:
            over, under = kind.cost * scale, worth
    values = [value * over // max(1, under) for value in prices]
    best = find_most_worth(problem.widths, problem.counts, values, problem.widest)
    return _find_bound(run, problem.counts, box, values, best), values


def _is_bound_final(run: SearchState, relaxed: RelaxationResult, bound: int) -> bool:
    """Return True if the value of the linear programme can't round up to more than the bound."""
    value = int((relaxed.cost - SURE * max(1.0, relaxed.cost * 1e-3)) * run.scale)
    return run.totals.round_up(bound, run.scale) >= run.totals.round_up(value, run.scale)


def _add_columns(run: SearchState, sack: Knapsack, relaxed: RelaxationResult) -> int:
    """Add the best pattern of each kind, and the best pattern that contains each piece; return the number of new ones."""
    kinds, scale = run.problem.kinds, run.scale
    price = np.array([kind.cost * scale for kind in kinds], dtype=np.int64)
    price -= np.rint(relaxed.bought * scale).astype(np.int64)
    least = max(64, int(scale * max(kind.cost for kind in kinds) * 1e-9))
    added = 0
    for place, kind in enumerate(kinds):
        if int(sack.best[kind.width]) - int(price[place]) > least:
            added += run.master.add(place, sack.pattern(kind.width))
    seen: set[tuple[int, int]] = set()
    for reward, place, piece in _rank_pieces(run.problem, sack, price):
        if reward <= least:
            break
        if (place, reward) not in seen:
            seen.add((place, reward))
            added += run.master.add(place, sack.pattern(kinds[place].width, piece))
    return added


def _rank_pieces(problem: CuttingProblem, sack: Knapsack, price: Values) -> list[tuple[int, int, int]]:
    """Return (value of the best pattern, its kind, piece) for the pieces with the highest value.

    A piece with a count of one may be counted twice; the pattern made of it is then worth less.
    """
    widths = np.array(problem.widths)
    values = np.array(sack.values, dtype=np.int64)
    rooms = np.array([kind.width for kind in problem.kinds])[None, :] - widths[:, None]
    gain = np.where(rooms >= 0, values[:, None] + sack.best[np.maximum(rooms, 0)] - price[None, :], np.int64(-1))
    gain[np.array(sack.counts) == 0] = -1
    kinds = gain.argmax(axis=1)
    most = gain[np.arange(len(widths)), kinds]
    order = np.argsort(-most, kind="stable")[: 8 + len(widths) // 4]
    return [(int(most[piece]), int(kinds[piece]), int(piece)) for piece in order]


def subtract_pattern(need: tuple[int, ...], pattern: Pattern, times: int) -> tuple[int, ...]:
    """Return the pieces that are still needed after a number of bars of a pattern [0 or more].

    >>> subtract_pattern((4, 1), (2, 1), 1)
    (2, 0)
    """
    return tuple(max(0, count - times * cut) for count, cut in zip(need, pattern, strict=True))
