"""Branch and price on the number of bars bought of each kind, best bound first.

A box of allowed numbers only shifts what a kind costs, so pricing stays one knapsack. Every leaf keeps the whole prices that
prove its bound, and where only packing is left those of a tree over the patterns that are left too (``listed``). What only
HiGHS's whole-number programme could close is marked ``mip``.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from fencing.cutting.column_generation import SURE, PricingResult, SearchState, generate, start, unfinished_bound
from fencing.cutting.cost_bound import least_paid
from fencing.cutting.diving_heuristic import dive, round_off
from fencing.cutting.greedy import Bars, cost_of, greedy
from fencing.cutting.knapsack import most_worth
from fencing.cutting.local_search import recut
from fencing.cutting.pattern_branching import packed
from fencing.cutting.pattern_packing import PackingResult, best_of, every_pattern
from fencing.cutting.plan_model import PatternBranch, ProofEnd
from fencing.cutting.problem import CuttingProblem, VariableBounds
from fencing.cutting.remainder import LARGE, LAST, LAST_OF_MIXED, MIXED, rest_of, whole_again
from fencing.cutting.tight_packing import laid
from fencing.cutting.work_limit import Effort, Spent

EARLY, LATE = 150, 4_000
"""Patterns up to which a node is packed at once, and once its bars are whole."""
FINISH = 3_000_000
"""Work the end of a large order may take."""
FINISH_OF_MIXED = 250_000
"""The end of one of many lengths that is not large."""
MAX_LAID, EARLY_TRIES = 2_000, 3
"""Pieces up to which bars are laid one by one, and how often parts are planned anew before the programme."""
CLOSER = 0.8
"""Share of that distance at which listing them is tried again."""
TINY, DEEP = 800, 2_000
"""Nodes that may take then."""
RETRIES = (4, 16)
"""How many times more of both when nothing else is left to try."""


@dataclass(slots=True)
class Node:
    """A box with its bound. ``proof`` is ``open`` until closed: ``exact``, ``listed``, ``mip`` or ``split`` at ``cut``."""

    box: VariableBounds
    bound: int
    depth: int
    values: list[int] = field(default_factory=list)
    proof: str = "open"
    cut: tuple[int, int] | None = None
    below: tuple[Node, Node] | None = None
    packing: PatternBranch | ProofEnd | None = None
    crowded: int | None = None
    """Distance to the best plan at which the patterns were too many to list."""


@dataclass(frozen=True, slots=True)
class SearchResult:
    """What a search ends with, in units of cost: ``bound <= cost``; the tree is the proof."""

    bars: Bars
    cost: int
    bound: int
    tree: Node
    scale: int


Report = Callable[[SearchResult], None]


class Search:
    """One search over one problem."""

    def __init__(
        self,
        problem: CuttingProblem,
        effort: Effort,
        report: Report | None = None,
        ceiling: int | None = None,
    ) -> None:
        self.run: SearchState = start(problem, effort, ceiling)
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
        self._told: tuple[int, int] | None = None

    def solve(self) -> SearchResult:
        """Search until proved or until the work allowed is done."""
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
                self._tell()
            self._retry()
        except Spent:
            pass
        return self.found()

    def _retry(self) -> None:
        """Try those left open again, over longer lists of patterns each time."""
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
                self._tell()

    def _leave(self, node: Node) -> None:
        """Leave a node unfinished; the first one at least with what bound its prices give so far."""
        self._stuck.append(node)
        if node is self.root and not node.bound:
            bound, values = unfinished_bound(self.run, node.box)
            up = self.run.totals.up(bound, self.run.scale)
            if bound > 0 and up < self.run.upper:
                node.bound, node.values = up, values

    def _finish(self, need: tuple[int, ...], bars: Bars) -> Bars | None:
        """Plan what is left as an order of its own, where that ends cheaper than the best plan."""
        share, most = (4, FINISH) if self.run.last == LAST else (2, FINISH_OF_MIXED)
        return self._planned(need, bars, min(self.run.effort.left // share, most))

    def _planned(self, need: tuple[int, ...], bars: Bars, work: int) -> Bars | None:
        """Plan what is needed beside the bars given; None where that is not cheaper than the best plan."""
        problem, effort = self.run.problem, self.run.effort
        ceiling = self.run.upper - cost_of(problem, bars)
        if ceiling <= 0:
            return None
        rest, pieces = rest_of(problem, need, bars)
        own = Effort(min(work, effort.left))
        inner = Search(rest, own, ceiling=ceiling)
        inner.run.most_columns = self.run.most_columns
        found = inner.solve()
        effort.spend(own.done)
        return whole_again(found.bars, pieces, len(need)) if found.bars else None

    def found(self) -> SearchResult:
        """The best plan and bound so far."""
        still = [node.bound for node in self._stuck] + [entry[-1].bound for entry in self._heap]
        if self._at is not None and self._at.proof == "open":
            still.append(self._at.bound)
        bound = min([self.run.upper, *still])
        return SearchResult(self.run.bars, self.run.upper, bound, self.root, self.run.scale)

    def _tell(self) -> None:
        if self.report is None:
            return
        now = self.found()
        if (now.cost, now.bound) != self._told:
            self._told = (now.cost, now.bound)
            self.report(now)

    def _push(self, node: Node) -> None:
        self._made += 1
        heapq.heappush(self._heap, (node.bound, -node.depth, self._made, node))

    def _price(self, node: Node) -> PricingResult:
        """Price the node; it keeps the prices it was given where those prove more."""
        run, problem = self.run, self.run.problem
        # half the work at most for the first programme: a plan is made of what it found by then
        until = run.effort.limit // 2 if node is self.root else None
        priced = generate(run, problem.counts, node.box, until=until)
        bound = run.totals.up(priced.bound, run.scale)
        if max(bound, node.bound) < run.upper:
            bound = max(bound, self._paid(node.box, priced.values))
        if bound >= node.bound:
            node.bound, node.values = bound, priced.values
        return priced

    def _paid(self, box: VariableBounds, values: list[int]) -> int:
        """The bound of prices with whole bars."""
        run, problem = self.run, self.run.problem
        best = most_worth(problem.widths, problem.counts, values, problem.widest)
        wanted = sum(count * value for count, value in zip(problem.counts, values, strict=True))
        worth = [int(best[kind.width]) for kind in problem.kinds]
        paid, cells = least_paid(problem, box, worth, wanted, run.upper)
        run.effort.spend(cells // 800)
        return paid

    def _lay(self) -> None:
        """Before any programme: a plan of bars that waste little, and what the prices by length prove of it."""
        run, root = self.run, self.root
        bound, values = unfinished_bound(run, root.box)
        run.effort.spend(3 * len(values) * run.problem.widest // 500)
        root.bound, root.values = max(run.totals.up(bound, run.scale), self._paid(root.box, values)), values
        need, bars = laid(run.problem, run.last)
        run.effort.spend(len(bars) * len(need))
        end = self._finish(need, bars) if any(need) else None
        end = greedy(run.problem, need, bars) if end is None else end
        run.offer(None if end is None else bars + end)
        run.floor = root.bound
        recut(run, values, self._planned, EARLY_TRIES)
        self._tell()

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
        self._tell()
        if node.bound < self.run.upper:
            dive(self.run, node.box, priced)
            self._tell()
        if self.recuts and node.bound < self.run.upper and self.run.bars:
            self.run.floor = self.root.bound
            recut(self.run, self.root.values, self._planned)
            self._tell()

    def _early(self, node: Node, priced: PricingResult) -> bool:
        """Try to pack at once, unless the patterns were too many a little way up already."""
        distance = self.run.target * self.run.scale - priced.bound
        if node.crowded is not None and distance > node.crowded * CLOSER:
            return False
        closed = self._pack(node, priced, EARLY, TINY)
        if not closed:
            node.crowded = distance
        return closed

    def _pack(self, node: Node, priced: PricingResult, most: int, nodes: int) -> bool:
        """Close the node over all patterns a better plan could use, where they are few enough; HiGHS's word comes last."""
        most = min(most, self.run.most_columns)
        columns = every_pattern(self.run, node.box, priced.values, priced.bound, most)
        if columns is None:
            return False
        node.packing = packed(self.run, node.box, columns, nodes)
        if node.packing is not None:
            node.proof, node.values = "listed", priced.values
            return True
        if self._closed(node):
            return True
        verdict = best_of(self.run, node.box, columns, nodes)
        self.run.effort.spend(0)
        if verdict is not PackingResult.OPEN:
            node.proof = "mip"
        return self._closed(node)

    def _pack_pool(self, node: Node) -> bool:
        """Look for a better plan among the patterns known; proves nothing unless it reaches the bound."""
        columns = self.run.master.columns
        if len(columns) <= min(2500, self.run.most_columns, 150_000 // len(self.run.problem.widths)):
            best_of(self.run, node.box, columns, DEEP // 8)
            self.run.effort.spend(0)
        return self._closed(node)

    def _split(self, node: Node, kind: int, most: int) -> tuple[Node, Node]:
        """At most ``most`` bars of a kind on one side, more on the other."""
        low, high = node.box
        under = Node((low, (*high[:kind], most, *high[kind + 1 :])), node.bound, node.depth + 1, node.values)
        over = Node(((*low[:kind], most + 1, *low[kind + 1 :]), high), node.bound, node.depth + 1, node.values)
        under.crowded = over.crowded = node.crowded
        node.proof, node.cut, node.below = "split", (kind, most), (under, over)
        self._push(over)
        self._push(under)
        return under, over

    def _isolate(self, node: Node, bought: list[int]) -> None:
        """Split everything off from one vector of bars that could be neither packed nor refuted; that one stays open."""
        for kind, bars in enumerate(bought):
            if bars < node.box[1][kind]:
                node = self._split_off(node, kind, bars, keep=0)
            if bars > node.box[0][kind]:
                node = self._split_off(node, kind, bars - 1, keep=1)
        self._stuck.append(node)

    def _split_off(self, node: Node, kind: int, most: int, keep: int) -> Node:
        """Split, and take the side kept out of the queue again."""
        sides = self._split(node, kind, most)
        kept = sides[keep]
        self._heap = [entry for entry in self._heap if entry[-1] is not kept]
        heapq.heapify(self._heap)
        return kept


def search(problem: CuttingProblem, effort: Effort, report: Report | None = None) -> SearchResult:
    """The cheapest bars that cover the problem, with the bound that proves how cheap they can be."""
    return Search(problem, effort, report).solve()
