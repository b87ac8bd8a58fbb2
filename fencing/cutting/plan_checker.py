"""Independent check of a plan and its proof in plain Python, without solver, numpy or the search.

It relies on the demand only. If a leaf lists patterns, they are listed here again. Leaves marked ``mip`` rely on
HiGHS. They are counted, but not checked.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

from fencing.cutting.plan_model import (
    Certificate,
    CutBar,
    CutPlan,
    Demand,
    PatternBranch,
    ProofBranch,
    ProofEnd,
    ProofLeaf,
    Status,
)
from fencing.cutting.proof_tables import Ways

Pattern = tuple[int, ...]
Branch = tuple[PatternBranch, bool]
"""A branch, and whether its upper side is meant."""


class Proof:
    """A walk through the tree of boxes that finds the minimum bound of its leaves."""

    def __init__(self, demand: Demand, certificate: Certificate, cost: int) -> None:
        self.demand, self.certificate, self.cost = demand, certificate, cost
        self.bars = Ways(demand, certificate, cost)
        self.ways = self.bars.ways
        self.faults: list[str] = self.bars.faults
        self.taken = 0

    def bound(self) -> int:
        low = [0] * len(self.ways)
        pieces = self.demand.count
        high = []
        for kind, ways in zip(self.certificate.kinds, self.ways, strict=True):
            if kind[0][0] < 0:
                high.append(0)
                continue
            haves = [self.demand.stock[row].have for row, _ in kind]
            most = pieces if None in haves else min(pieces, sum(have or 0 for have in haves))
            cheapest = min(cost for _, cost in ways)
            high.append(min(most, self.cost // cheapest) if cheapest else most)
        return self._walk(self.certificate.tree, low, high)

    def _walk(self, node: ProofBranch | ProofLeaf, low: list[int], high: list[int]) -> int:
        if isinstance(node, ProofLeaf):
            return self._leaf(node, low, high)
        least = self.cost
        if low[node.kind] <= node.most:
            least = self._walk(node.under, low, [*high[: node.kind], node.most, *high[node.kind + 1 :]])
        if high[node.kind] > node.most:
            over = self._walk(node.over, [*low[: node.kind], node.most + 1, *low[node.kind + 1 :]], high)
            least = min(least, over)
        return least

    def _leaf(self, leaf: ProofLeaf, low: list[int], high: list[int]) -> int:
        if leaf.proof == "mip":
            self.taken += 1
            return self.cost
        worth = self._worth(leaf.values)
        slope = [self._slope(kind, [worth[max(0, room)] for room, _ in ways]) for kind, ways in enumerate(self.ways)]
        total = self._total(leaf.values) + self._least(slope, low, high)
        if leaf.packing is None:
            return self._bound_of(leaf, total, worth, low, high)
        listed = self._listed(leaf.values, worth, slope, total, low)
        if any(least and not patterns for least, patterns in zip(low, listed, strict=True)):
            return self.cost
        high = [most if patterns else 0 for most, patterns in zip(high, listed, strict=True)]
        return max(self.bars.round_up(total), self._pack(leaf.packing, listed, low, high, []))

    def _bound_of(self, leaf: ProofLeaf, total: int, worth: list[int], low: list[int], high: list[int]) -> int:
        """Return the bound that the prices of a leaf prove; with whole bars if the leaf's bound uses them."""
        bound = self.bars.round_up(total)
        if bound >= min(self.cost, leaf.bound * self.certificate.money):
            return bound
        most = [max(worth[max(0, room)] for room, _ in ways) for ways in self.ways]
        return max(bound, min(self.cost, self.bars.least_paid(self._total(leaf.values), most, low, high)))

    def _slope(self, kind: int, worth: list[int]) -> int:
        """Return the cost of a bar of a kind less its maximum worth, over all ways to buy one."""
        unit, scale = self.certificate.money, self.certificate.scale
        costs = [cost // unit * scale for _, cost in self.ways[kind]]
        return min(cost - most for cost, most in zip(costs, worth, strict=True))

    def _total(self, values: tuple[int, ...]) -> int:
        return sum(count * value for (_, count), value in zip(self.demand.pieces, values, strict=True))

    def _least(self, slope: list[int], low: list[int], high: list[int]) -> int:
        """Return the minimum of ``sum(slope * bars)`` over the box and the limits that kinds share."""
        total = 0
        ahead = {row: kind for kind, rows in enumerate(self.certificate.kinds) for row, credit in rows if credit}
        shared: set[int] = set()
        for kind, rows in enumerate(self.certificate.kinds):
            partner = ahead.get(rows[0][0]) if len(rows) == 1 and not rows[0][1] else None
            have = self.demand.stock[rows[0][0]].have
            if partner is None or have is None or len(self.certificate.kinds[partner]) != 1:
                continue
            shared |= {kind, partner}
            total += _minimise_pair(slope, (kind, partner), low, high, have)
        for kind, item in enumerate(slope):
            if kind not in shared:
                total += item * (low[kind] if item >= 0 else high[kind])
        return total

    def _listed(
        self, values: tuple[int, ...], worth: list[int], slope: list[int], total: int, low: list[int]
    ) -> list[list[Pattern]]:
        """List the full patterns of each kind that a cheaper plan can use: buying one keeps the bound below that
        plan's cost.

        A plan can always be cut from full patterns alone, which have no room for another piece; surplus pieces are
        dropped. If there is a cheaper plan, then the cheapest of all is one, somewhere in the tree.
        """
        dearest = self.bars.below_cost() * self.certificate.scale
        listed: list[list[Pattern]] = []
        for kind, ways in enumerate(self.ways):
            if self.certificate.kinds[kind][0][0] < 0:
                listed.append([])
                continue
            extra = max(0, slope[kind]) if not low[kind] else 0
            room = self.bars.reached(ways[0][0])
            if not self.bars.can_replace_others(kind):
                self.faults.append(f"kind {kind} is bought in ways that do not replace each other")
            patterns_of_kind = self._patterns(values, worth, room, worth[room] + extra - (dearest - total))
            listed.append([pattern for pattern in patterns_of_kind if not self._two_for_less(pattern, ways[0][1])])
        return listed

    def _two_for_less(self, pattern: Pattern, cost: int) -> bool:
        """Return True if two bars of unlimited kinds hold a pattern's pieces for less: the cheapest plan never uses it."""
        widths = [length + self.demand.kerf for length, _ in self.demand.pieces]
        sums = {0}
        for width, times in zip(widths, pattern, strict=True):
            sums = {before + item * width for before in sums for item in range(times + 1)}
        whole = max(sums)
        return any(self.bars.single(part) + self.bars.single(whole - part) < cost for part in sums)

    def _patterns(self, values: tuple[int, ...], worth: list[int], room: int, least: int) -> list[Pattern]:
        """List every full pattern within ``room`` worth at least ``least``, piece by piece, while the rest can reach it."""
        widths = [length + self.demand.kerf for length, _ in self.demand.pieces]
        counts = [count for _, count in self.demand.pieces]
        patterns: list[Pattern] = []
        stack: list[tuple[int, int, int, Pattern]] = [(0, room, 0, ())]
        while stack:
            piece, left, value, cut = stack.pop()
            if value + worth[left] < least:
                continue
            if piece == len(widths):
                rest = zip(widths, counts, cut, strict=True)
                if value >= least and all(width > left or times >= count for width, count, times in rest):
                    patterns.append(cut)
                continue
            for times in range(min(counts[piece], left // widths[piece]) + 1):
                more = value + times * values[piece]
                stack.append((piece + 1, left - times * widths[piece], more, (*cut, times)))
        return patterns

    def _pack(
        self,
        node: PatternBranch | ProofEnd,
        listed: list[list[Pattern]],
        low: list[int],
        high: list[int],
        path: list[Branch],
    ) -> int:
        """Walk the branches; return the bound that their ends prove for the listed patterns."""
        if isinstance(node, PatternBranch):
            under = self._pack(node.under, listed, low, high, [*path, (node, False)])
            return min(under, self._pack(node.over, listed, low, high, [*path, (node, True)]))
        if len(node.fees) != len(path):
            self.faults.append("an end of the proof has too few fees or too many")
            return 0
        total, fees = self._total(node.values), []
        for (choice, over), fee in zip(path, node.fees, strict=True):
            if fee < 0 if over else fee > 0:
                self.faults.append("a fee of the proof has the wrong sign")
                return 0
            total += fee * (choice.most + 1 if over else choice.most)
            fees.append((choice, fee))
        slope = []
        for kind, patterns in enumerate(listed):
            most = max((_calculate_gain(kind, pattern, node.values, fees) for pattern in patterns), default=0)
            slope.append(self._slope(kind, [most] * len(self.ways[kind])))
        return self.bars.round_up(total + self._least(slope, low, high))

    def _worth(self, values: tuple[int, ...]) -> list[int]:
        """Return the maximum worth of the pieces within each width: the plain bounded knapsack."""
        widest = max(room for ways in self.ways for room, _ in ways)
        best = [0] * (widest + 1)
        for (length, count), value in zip(self.demand.pieces, values, strict=True):
            width, left, take = length + self.demand.kerf, min(count, widest // (length + self.demand.kerf)), 1
            while left > 0 and value > 0:
                times = min(take, left)
                span, gain = width * times, value * times
                best[span:] = [max(old, new + gain) for old, new in zip(best[span:], best, strict=False)]
                left -= times
                take *= 2
        return best


def _calculate_gain(kind: int, pattern: Pattern, values: tuple[int, ...], fees: list[tuple[PatternBranch, int]]) -> int:
    """Return the worth of a bar: its pieces, and the fee of every branch whose test it passes."""
    gain = sum(times * value for times, value in zip(pattern, values, strict=True) if times)
    for choice, fee in fees:
        if fee and choice.kind in (None, kind) and all(pattern[piece] >= times for piece, times in choice.holds):
            gain += fee
    return gain


def _minimise_pair(slope: list[int], pair: tuple[int, int], low: list[int], high: list[int], have: int) -> int:
    """Return the minimum for two kinds that share ``have`` bars."""
    spare = have - sum(low[kind] for kind in pair)
    total = sum(slope[kind] * low[kind] for kind in pair)
    for kind in sorted(pair, key=lambda kind: slope[kind]):
        more = max(0, min(spare, high[kind] - low[kind]))
        if slope[kind] < 0:
            total += slope[kind] * more
            spare -= more
    return total


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

    >>> from fencing.cutting.plan_model import StockLength
    >>> from fencing.cutting.planner import plan_cuts
    >>> check(plan_cuts(Demand(3, ((2390, 4),), (StockLength(4800, 3650),))))
    PlanCheck(faults=(), proved=7300, taken=0)
    """
    if plan.status is Status.INFEASIBLE:
        return PlanCheck((), None, 0)
    faults = [*_check_bars(plan), *_check_cover(plan), *_check_cost(plan)]
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


def _check_bars(plan: CutPlan) -> list[str]:
    faults: list[str] = []
    used: Counter[int] = Counter()
    for bar in plan.bars:
        used[bar.stock] += bar.count
        faults += _check_bar(plan.demand, bar)
    for row, count in used.items():
        have = plan.demand.stock[row].have
        if have is not None and count > have:
            faults.append(f"{count} bars of stock {row}, there are {have}")
    return faults


def _check_bar(demand: Demand, bar: CutBar) -> list[str]:
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


def _check_cover(plan: CutPlan) -> list[str]:
    made: Counter[int] = Counter()
    for bar in plan.bars:
        for length, count in bar.cuts:
            made[length] += count * bar.count
    needed = Counter(dict(plan.demand.pieces))
    lengths = sorted(set(made) | set(needed))
    return [f"{made[mm]} of {mm} mm, wanted {needed[mm]}" for mm in lengths if made[mm] != needed[mm]]


def _check_cost(plan: CutPlan) -> list[str]:
    cost = 0
    for bar in plan.bars:
        stock = plan.demand.stock[bar.stock]
        cost += bar.count * (stock.price + stock.handling - (stock.credit if bar.credited else 0))
    right = cost == plan.cost and plan.bound <= cost
    return [] if right else [f"cost {plan.cost}, bound {plan.bound}; the bars cost {cost}"]
