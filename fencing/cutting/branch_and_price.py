"""Branch and price on the number of bars bought of each type, best bound first.

A box limits the number of bars of each type. It only changes what a type costs, so pricing stays one knapsack. Every
leaf of the tree stores the whole prices that prove its bound. If a leaf is closed by listing its patterns
(``listed``), it also stores the proof over those patterns. A leaf that only the integer programme of HiGHS could close
is marked ``mip``.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from fencing.cutting.column_generation import (
    SURE,
    PricingResult,
    SearchState,
    find_unfinished_bound,
    generate_columns,
    start_search,
)
from fencing.cutting.greedy import (
    LARGE,
    LAST,
    LAST_OF_MIXED,
    MIXED,
    Bars,
    calculate_cost,
    fill_greedily,
    lay_tight_bars,
    restore_patterns,
    split_remainder,
)
from fencing.cutting.heuristics import dive, recut, round_off
from fencing.cutting.knapsack import find_most_worth
from fencing.cutting.lower_bounds import find_minimum_payment
from fencing.cutting.pattern_branching import pack_columns
from fencing.cutting.pattern_packing import PackingResult, list_patterns, search_patterns
from fencing.cutting.plan_model import Effort, PatternBranch, ProofEnd, Spent
from fencing.cutting.problem import CuttingProblem, VariableBounds

EARLY, LATE = 150, 4_000
"""Maximum number of patterns to pack a node at once, and to pack one with whole bars."""
FINISH = 3_000_000
"""Maximum work for the end of a large order."""
FINISH_OF_MIXED = 250_000
"""Maximum work for the end of an order with many lengths that is not large."""
MAX_LAID, EARLY_TRIES = 2_000, 3
"""Maximum number of pieces to fill bars one by one, and tries of local search before the first programme."""
CLOSER = 0.8
"""Share of that distance at which the patterns are listed again."""
TINY, DEEP = 800, 2_000
"""Maximum number of nodes in these two cases."""
RETRIES = (4, 16)
"""Factors for both limits in the last tries."""


@dataclass(slots=True)
class Node:
    """A box with its bound.

    ``proof`` is ``open`` until closed: ``exact``, ``listed``, ``mip`` or ``split`` at ``cut``.
    """

    box: VariableBounds
    bound: int
    depth: int
    values: list[int] = field(default_factory=list)
    proof: str = "open"
    cut: tuple[int, int] | None = None
    below: tuple[Node, Node] | None = None
    packing: PatternBranch | ProofEnd | None = None
    crowded: int | None = None
    """Distance to the best plan at which there were too many patterns to list."""


@dataclass(frozen=True, slots=True)
class SearchResult:
    """The result of a search, in units of cost: ``bound <= cost``; the tree is the proof."""

    bars: Bars
    cost: int
    bound: int
    tree: Node
    scale: int


Report = Callable[[SearchResult], None]


class Search:
    """One search over one problem."""

    def __init__(
        self, problem: CuttingProblem, effort: Effort, report: Report | None = None, ceiling: int | None = None
    ) -> None:
        self.run: SearchState = start_search(problem, effort, ceiling)
        count, mixed = sum(problem.counts), len(problem.widths) > MIXED
        if count >= LARGE:
            self.run.finish, self.run.last = self._finish, LAST
        elif mixed:
            self.run.finish, self.run.last = self._finish, LAST_OF_MIXED
        self.recuts = mixed
        self.report = report
        root_box = ((0,) * len(problem.kinds), problem.most_bars(self.run.upper))
        self.root = Node(root_box, 0, 0, [0] * len(problem.widths))
        self._heap: list[tuple[int, int, int, Node]] = []
        self._stuck: list[Node] = []
        self._at: Node | None = None
        self._made = 0
        self._reported: tuple[int, int] | None = None

    def solve(self) -> SearchResult:
        """Search until the plan is proved or the allowed work is done."""
        self._push(self.root)
        visited = 0
        try:
            if self.recuts and sum(self.run.problem.counts) <= MAX_LAID:
                self._lay()
            while self._heap:
                node = heapq.heappop(self._heap)[-1]
                if node.bound >= self.run.upper:
                    node.proof = "exact"
                    continue
                self._at = node
                try:
                    self._visit(node, visited)
                except Spent:
                    if node.proof == "open":
                        self._leave(node)
                    raise
                self._at = None
                visited += 1
                self._report_progress()
            self._retry()
        except Spent:
            pass
        return self.current_result()

    def _retry(self) -> None:
        """Search the open nodes again, each time over longer lists of patterns."""
        for step in RETRIES:
            for node in sorted(self._stuck, key=lambda node: node.bound):
                self._at = node
                if not self._closed(node):
                    priced = self._price(node)
                    if not self._closed(node):
                        self._pack(node, priced, step * LATE, step * DEEP)
                if node.proof != "open":
                    self._stuck.remove(node)
                self._at = None
                self._report_progress()

    def _leave(self, node: Node) -> None:
        """Leave a node unfinished. The first one keeps at least the bound of its current prices."""
        self._stuck.append(node)
        if node is self.root and not node.bound:
            bound, values = find_unfinished_bound(self.run, node.box)
            up = self.run.totals.round_up(bound, self.run.scale)
            if bound > 0 and up < self.run.upper:
                node.bound, node.values = up, values

    def _finish(self, need: tuple[int, ...], bars: Bars) -> Bars | None:
        """Plan the rest as an order of its own if that gives a cheaper plan than the best one."""
        share, most = (4, FINISH) if self.run.last == LAST else (2, FINISH_OF_MIXED)
        return self._planned(need, bars, min(self.run.effort.left // share, most))

    def _planned(self, need: tuple[int, ...], bars: Bars, work: int) -> Bars | None:
        """Plan the pieces that the given bars do not cover; return None if that is not cheaper than the best plan."""
        problem, effort = self.run.problem, self.run.effort
        ceiling = self.run.upper - calculate_cost(problem, bars)
        if ceiling <= 0:
            return None
        rest, pieces = split_remainder(problem, need, bars)
        own = Effort(min(work, effort.left))
        inner = Search(rest, own, ceiling=ceiling)
        inner.run.most_columns = self.run.most_columns
        result = inner.solve()
        effort.spend(own.done)
        return restore_patterns(result.bars, pieces, len(need)) if result.bars else None

    def current_result(self) -> SearchResult:
        """Return the best plan and bound so far."""
        still = [node.bound for node in self._stuck] + [entry[-1].bound for entry in self._heap]
        if self._at is not None and self._at.proof == "open":
            still.append(self._at.bound)
        bound = min([self.run.upper, *still])
        return SearchResult(self.run.bars, self.run.upper, bound, self.root, self.run.scale)

    def _report_progress(self) -> None:
        if self.report is None:
            return
        now = self.current_result()
        if (now.cost, now.bound) != self._reported:
            self._reported = (now.cost, now.bound)
            self.report(now)

    def _push(self, node: Node) -> None:
        self._made += 1
        heapq.heappush(self._heap, (node.bound, -node.depth, self._made, node))

    def _price(self, node: Node) -> PricingResult:
        """Price the node. It keeps its earlier prices if those prove more."""
        run, problem = self.run, self.run.problem
        # half of the work at most for the first programme: the rest goes into making plans from its result
        until = run.effort.limit // 2 if node is self.root else None
        priced = generate_columns(run, problem.counts, node.box, until=until)
        bound = run.totals.round_up(priced.bound, run.scale)
        if max(bound, node.bound) < run.upper:
            bound = max(bound, self._paid(node.box, priced.values))
        if bound >= node.bound:
            node.bound, node.values = bound, priced.values
        return priced

    def _paid(self, box: VariableBounds, values: list[int]) -> int:
        """Return the bound that these prices give with whole bars."""
        run, problem = self.run, self.run.problem
        best = find_most_worth(problem.widths, problem.counts, values, problem.widest)
        wanted = sum(count * value for count, value in zip(problem.counts, values, strict=True))
        worth = [int(best[kind.width]) for kind in problem.kinds]
        paid, cells = find_minimum_payment(problem, box, worth, wanted, run.upper)
        run.effort.spend(cells // 800)
        return paid

    def _lay(self) -> None:
        """Before the first programme, make a plan of bars with little waste, and a bound from prices by length."""
        run, root = self.run, self.root
        bound, values = find_unfinished_bound(run, root.box)
        run.effort.spend(3 * len(values) * run.problem.widest // 500)
        root.bound, root.values = max(run.totals.round_up(bound, run.scale), self._paid(root.box, values)), values
        need, bars = lay_tight_bars(run.problem, run.last)
        run.effort.spend(len(bars) * len(need))
        end = self._finish(need, bars) if any(need) else None
        end = fill_greedily(run.problem, need, bars) if end is None else end
        run.offer(None if end is None else bars + end)
        run.floor = root.bound
        recut(run, values, self._planned, EARLY_TRIES)
        self._report_progress()

    def _visit(self, node: Node, visited: int) -> None:
        priced = self._price(node)
        if self._closed(node):
            return
        bought = self._bought(priced)
        fractional = [kind for kind, bars in enumerate(bought) if abs(bars - round(bars)) > 1e-5]
        if visited & (visited + 1) == 0 or not fractional:
            self._improve(node, priced)
            if self._closed(node):
                return
        if self._early(node, priced):
            return
        if fractional:
            kind = max(fractional, key=lambda kind: (min(bought[kind] % 1, 1 - bought[kind] % 1), -kind))
            self._split(node, kind, int(np.floor(bought[kind])))
        elif not self._pack_pool(node) and not self._pack(node, priced, LATE, DEEP):
            self._isolate(node, [round(bars) for bars in bought])

    def _closed(self, node: Node) -> bool:
        if node.bound >= self.run.upper:
            node.proof = "exact"
        return node.proof != "open"

    def _bought(self, priced: PricingResult) -> list[float]:
        bought = [0.0] * len(self.run.problem.kinds)
        shares = priced.relaxed.shares
        for column in np.flatnonzero(shares > SURE * 0.1):
            bought[self.run.master.columns[int(column)][0]] += float(shares[column])
        return bought

    def _improve(self, node: Node, priced: PricingResult) -> None:
        """Look for a better plan near the shares of this node."""
        round_off(self.run, priced.relaxed.shares)
        self._report_progress()
        if node.bound < self.run.upper:
            dive(self.run, node.box, priced)
            self._report_progress()
        if self.recuts and node.bound < self.run.upper and self.run.bars:
            self.run.floor = self.root.bound
            recut(self.run, self.root.values, self._planned)
            self._report_progress()

    def _early(self, node: Node, priced: PricingResult) -> bool:
        """Try to pack at once, unless a node a few levels above had too many patterns."""
        distance = self.run.target * self.run.scale - priced.bound
        if node.crowded is not None and distance > node.crowded * CLOSER:
            return False
        closed = self._pack(node, priced, EARLY, TINY)
        if not closed:
            node.crowded = distance
        return closed

    def _pack(self, node: Node, priced: PricingResult, most: int, nodes: int) -> bool:
        """Close the node over all patterns of a better plan, if they are few enough. HiGHS is used last."""
        most = min(most, self.run.most_columns)
        columns = list_patterns(self.run, node.box, priced.values, priced.bound, most)
        if columns is None:
            return False
        node.packing = pack_columns(self.run, node.box, columns, nodes)
        if node.packing is not None:
            node.proof, node.values = "listed", priced.values
            return True
        if self._closed(node):
            return True
        verdict = search_patterns(self.run, node.box, columns, nodes)
        self.run.effort.spend(0)
        if verdict is not PackingResult.OPEN:
            node.proof = "mip"
        return self._closed(node)

    def _pack_pool(self, node: Node) -> bool:
        """Look for a better plan among the known patterns. This proves nothing unless the plan reaches the bound."""
        columns = self.run.master.columns
        if len(columns) <= min(2500, self.run.most_columns, 150_000 // len(self.run.problem.widths)):
            search_patterns(self.run, node.box, columns, DEEP // 8)
            self.run.effort.spend(0)
        return self._closed(node)

    def _split(self, node: Node, kind: int, most: int) -> tuple[Node, Node]:
        """Split the node: at most ``most`` bars of a kind on one side, more on the other."""
        low, high = node.box
        under = Node((low, (*high[:kind], most, *high[kind + 1 :])), node.bound, node.depth + 1, node.values)
        over = Node(((*low[:kind], most + 1, *low[kind + 1 :]), high), node.bound, node.depth + 1, node.values)
        under.crowded = over.crowded = node.crowded
        node.proof, node.cut, node.below = "split", (kind, most), (under, over)
        self._push(over)
        self._push(under)
        return under, over

    def _isolate(self, node: Node, bought: list[int]) -> None:
        """Separate one vector of bars that could be neither packed nor refuted. It stays open."""
        for kind, bars in enumerate(bought):
            if bars < node.box[1][kind]:
                node = self._split_off(node, kind, bars, keep=0)
            if bars > node.box[0][kind]:
                node = self._split_off(node, kind, bars - 1, keep=1)
        self._stuck.append(node)

    def _split_off(self, node: Node, kind: int, most: int, keep: int) -> Node:
        """Split the node and remove the side to keep from the queue."""
        sides = self._split(node, kind, most)
        kept = sides[keep]
        self._heap = [entry for entry in self._heap if entry[-1] is not kept]
        heapq.heapify(self._heap)
        return kept
