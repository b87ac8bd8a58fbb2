"""An independent check of a plan and its proof in plain Python: no solver, no numpy, nothing of the search.

It trusts the demand and nothing else. Where a leaf lists patterns, they are listed here anew. Leaves marked ``mip`` are HiGHS's
word and are counted, not believed.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from math import gcd, inf

from fencing.cutting.demand import Demand
from fencing.cutting.plans import Bar, Certificate, Choice, CutPlan, End, Leaf, Split, Status

Pattern = tuple[int, ...]
Branch = tuple[Choice, bool]
"""A choice and whether it is its upper side that is meant."""


@dataclass(frozen=True, slots=True)
class Verdict:
    """``faults`` are sentences; ``proved`` is the bound shown exactly; ``taken`` counts leaves taken on HiGHS's word."""

    faults: tuple[str, ...]
    proved: int | None
    taken: int


def check(plan: CutPlan) -> Verdict:
    """Check a plan: every piece there, every bar possible, cost right, bound proved by its certificate.

    Returns:
        What is wrong (nothing, for a sound plan), the exact bound in units of the price, and the leaves taken on trust.

    Source: weak duality of linear programming; Vance et al. 1994 for the decomposition; house rule for the form.
    """
    if plan.status is Status.INFEASIBLE:
        return Verdict((), None, 0)
    faults = [*_bar_faults(plan), *_cover_faults(plan), *_cost_faults(plan)]
    if plan.certificate is None:
        return Verdict(tuple(faults), None, 0)
    proof = _Proof(plan.demand, plan.certificate, plan.cost)
    proved = proof.bound()
    faults += proof.faults
    if plan.status is Status.OPTIMAL and not proof.taken and proved < plan.cost:
        faults.append(f"called optimal at {plan.cost}, but only {proved} is proved")
    if proved < plan.bound and not proof.taken:
        faults.append(f"the bound {plan.bound} is not proved, {proved} is")
    return Verdict(tuple(faults), proved, proof.taken)


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


def _one_bar(demand: Demand, bar: Bar) -> list[str]:
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


class _Proof:
    """Walks the tree of boxes and takes the least bound of its leaves."""

    def __init__(self, demand: Demand, certificate: Certificate, cost: int) -> None:
        self.demand, self.certificate, self.cost = demand, certificate, cost
        self.faults: list[str] = []
        self.taken = 0
        self.ways: list[list[tuple[int, int]]] = []
        for rows in certificate.kinds:
            self.ways.append([self._way(row, credit) for row, credit in rows])
        self._check_rows()
        self.sums = self._sums()
        self.totals = self._payable()

    def _way(self, row: int, credit: bool) -> tuple[int, int]:
        """Room and cost of a way to buy; the stand-in for what no stock takes (row -1) is never bought."""
        if row < 0:
            return 0, 0
        stock = self.demand.stock[row]
        if credit:
            return stock.length - stock.trim - stock.keep, stock.price + stock.handling - stock.credit
        return stock.length - stock.trim + self.demand.kerf, stock.price + stock.handling

    def _check_rows(self) -> None:
        """Every way to buy must belong to a kind, or take no piece at all."""
        named = {way for rows in self.certificate.kinds for way in rows}
        shortest = min(length for length, _ in self.demand.pieces) + self.demand.kerf
        for row, stock in enumerate(self.demand.stock):
            for credit in (False, True) if stock.credit else (False,):
                if (row, credit) not in named and self._way(row, credit)[0] >= shortest and stock.have != 0:
                    self.faults.append(f"stock {row} is left out of the proof")

    def _payable(self) -> tuple[int, int]:
        """Common divisor of the costs, and the totals that can be paid as bits (0: too many to list)."""
        limits = self._limits()
        step = 0
        for cost in limits:
            step = gcd(step, cost)
        step = step or 1
        top = self.cost // step
        if top > 400_000:
            return step, 0
        bits, mask = 1, (1 << (top + 1)) - 1
        for cost, most in sorted(limits.items()):
            left, take = min(most, top * step // cost) if cost else 0, 1
            while left > 0:
                times = min(take, left)
                bits |= (bits << (cost // step * times)) & mask
                left -= times
                take *= 2
        return step, bits

    def _limits(self) -> dict[int, int]:
        """How many bars may be bought at each cost."""
        limits: dict[int, int] = {}
        for kind, ways in zip(self.certificate.kinds, self.ways, strict=True):
            own = self._own(kind, ways)
            for (row, _), (_, cost) in zip(kind, ways, strict=True):
                if cost in own and row >= 0:
                    have = self.demand.stock[row].have
                    limits[cost] = limits.get(cost, 0) + (self.demand.count if have is None else have)
        return limits

    def _own(self, kind: tuple[tuple[int, bool], ...], ways: list[tuple[int, int]]) -> set[int]:
        """Costs of a kind, without those its first row always replaces: unlimited, no dearer, and takes the same pieces."""
        first_room, first_cost = self._reached(ways[0][0]), ways[0][1]
        endless = kind[0][0] >= 0 and self.demand.stock[kind[0][0]].have is None
        replaced = {
            cost for room, cost in ways[1:] if endless and cost >= first_cost and self._reached(room) <= first_room
        }
        return {cost for _, cost in ways if cost == first_cost or cost not in replaced}

    def _reached(self, room: int) -> int:
        """The most of a width that pieces can fill."""
        return (self.sums & ((1 << (room + 1)) - 1)).bit_length() - 1

    def _sums(self) -> int:
        widest = max(room for ways in self.ways for room, _ in ways)
        bits, mask = 1, (1 << (widest + 1)) - 1
        for length, count in self.demand.pieces:
            width = length + self.demand.kerf
            for _ in range(min(count, widest // width)):
                bits |= (bits << width) & mask
        return bits

    def _up(self, bound: int) -> int:
        """The least payable total of at least ``bound / scale`` units of money, in units of the price."""
        step, bits = self.totals
        whole = max(0, -(-bound * self.certificate.money // (self.certificate.scale * step)))
        while bits and whole * step < self.cost and not bits >> whole & 1:
            whole += 1
        return min(self.cost, whole * step)

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

    def _walk(self, node: Split | Leaf, low: list[int], high: list[int]) -> int:
        if isinstance(node, Leaf):
            return self._leaf(node, low, high)
        least = self.cost
        if low[node.kind] <= node.most:
            least = self._walk(node.under, low, [*high[: node.kind], node.most, *high[node.kind + 1 :]])
        if high[node.kind] > node.most:
            over = self._walk(node.over, [*low[: node.kind], node.most + 1, *low[node.kind + 1 :]], high)
            least = min(least, over)
        return least

    def _leaf(self, leaf: Leaf, low: list[int], high: list[int]) -> int:
        if leaf.proof == "mip":
            self.taken += 1
            return self.cost
        worth = self._worth(leaf.values)
        slope = [self._slope(kind, [worth[max(0, room)] for room, _ in ways]) for kind, ways in enumerate(self.ways)]
        total = self._total(leaf.values) + self._least(slope, low, high)
        if leaf.packing is None:
            return self._up(total)
        listed = self._listed(leaf.values, worth, slope, total, low)
        if any(least and not patterns for least, patterns in zip(low, listed, strict=True)):
            return self.cost
        high = [most if patterns else 0 for most, patterns in zip(high, listed, strict=True)]
        return max(self._up(total), self._pack(leaf.packing, listed, low, high, []))

    def _slope(self, kind: int, worth: list[int]) -> int:
        """Cost of a bar of a kind less the most it is worth, each way to buy one with its own worth."""
        unit, scale = self.certificate.money, self.certificate.scale
        costs = [cost // unit * scale for _, cost in self.ways[kind]]
        return min(cost - most for cost, most in zip(costs, worth, strict=True))

    def _total(self, values: tuple[int, ...]) -> int:
        return sum(count * value for (_, count), value in zip(self.demand.pieces, values, strict=True))

    def _least(self, slope: list[int], low: list[int], high: list[int]) -> int:
        """The least of ``sum(slope * bars)`` over the box and the limits kinds share."""
        total = 0
        ahead = {row: kind for kind, rows in enumerate(self.certificate.kinds) for row, credit in rows if credit}
        shared: set[int] = set()
        for kind, rows in enumerate(self.certificate.kinds):
            partner = ahead.get(rows[0][0]) if len(rows) == 1 and not rows[0][1] else None
            have = self.demand.stock[rows[0][0]].have
            if partner is None or have is None or len(self.certificate.kinds[partner]) != 1:
                continue
            shared |= {kind, partner}
            total += _pair(slope, (kind, partner), low, high, have)
        for kind, one in enumerate(slope):
            if kind not in shared:
                total += one * (low[kind] if one >= 0 else high[kind])
        return total

    def _listed(
        self, values: tuple[int, ...], worth: list[int], slope: list[int], total: int, low: list[int]
    ) -> list[list[Pattern]]:
        """The full patterns of each kind that a cheaper plan can use: buying one takes the bound no higher than that plan.

        A plan can always be cut from full patterns alone, which have no room for a piece more; surplus pieces are dropped. And if
        there is a cheaper plan, then the cheapest of all is one, somewhere in the tree.
        """
        dearest = self._below_cost() * self.certificate.scale
        listed: list[list[Pattern]] = []
        for kind, ways in enumerate(self.ways):
            if self.certificate.kinds[kind][0][0] < 0:
                listed.append([])
                continue
            extra = max(0, slope[kind]) if not low[kind] else 0
            room = self._reached(ways[0][0])
            if not self._alike(kind):
                self.faults.append(f"kind {kind} is bought in ways that do not replace each other")
            found = self._patterns(values, worth, room, worth[room] + extra - (dearest - total))
            listed.append([pattern for pattern in found if not self._two_for_less(pattern, ways[0][1])])
        return listed

    def _two_for_less(self, pattern: Pattern, cost: int) -> bool:
        """Whether two bars, of which there is no end, hold a pattern's pieces for less: then the cheapest plan has none of it."""
        widths = [length + self.demand.kerf for length, _ in self.demand.pieces]
        sums = {0}
        for width, times in zip(widths, pattern, strict=True):
            sums = {before + one * width for before in sums for one in range(times + 1)}
        whole = max(sums)
        return any(self._single(part) + self._single(whole - part) < cost for part in sums)

    def _single(self, width: int) -> float:
        """The cost of the cheapest bar of which there is no end that takes a width."""
        costs = [
            cost
            for kind, ways in zip(self.certificate.kinds, self.ways, strict=True)
            for (row, _), (room, cost) in zip(kind, ways, strict=True)
            if row >= 0 and self.demand.stock[row].have is None and room >= width
        ]
        return min(costs, default=inf)

    def _alike(self, kind: int) -> bool:
        """Whether a kind's first way can stand for all: none takes more or costs less, and one dearer is never needed."""
        ways = self.ways[kind]
        room, cost = self._reached(ways[0][0]), ways[0][1]
        own = self._own(self.certificate.kinds[kind], ways)
        return own == {cost} and all(self._reached(other) <= room and one >= cost for other, one in ways)

    def _below_cost(self) -> int:
        """The dearest total cheaper than the plan, in units of money."""
        step, bits = self.totals
        whole = -(-self.cost // step) - 1
        while bits and whole > 0 and not bits >> whole & 1:
            whole -= 1
        return whole * step // self.certificate.money

    def _patterns(self, values: tuple[int, ...], worth: list[int], room: int, least: int) -> list[Pattern]:
        """Every full pattern within ``room`` worth at least ``least``, piece by piece, as far as the rest can still reach it."""
        widths = [length + self.demand.kerf for length, _ in self.demand.pieces]
        counts = [count for _, count in self.demand.pieces]
        found: list[Pattern] = []
        stack: list[tuple[int, int, int, Pattern]] = [(0, room, 0, ())]
        while stack:
            piece, left, value, cut = stack.pop()
            if value + worth[left] < least:
                continue
            if piece == len(widths):
                rest = zip(widths, counts, cut, strict=True)
                if value >= least and all(width > left or times >= count for width, count, times in rest):
                    found.append(cut)
                continue
            for times in range(min(counts[piece], left // widths[piece]) + 1):
                more = value + times * values[piece]
                stack.append((piece + 1, left - times * widths[piece], more, (*cut, times)))
        return found

    def _pack(
        self, node: Choice | End, listed: list[list[Pattern]], low: list[int], high: list[int], path: list[Branch]
    ) -> int:
        """Walk the choices; what their ends prove of the patterns listed."""
        if isinstance(node, Choice):
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
            most = max((_gain(kind, pattern, node.values, fees) for pattern in patterns), default=0)
            slope.append(self._slope(kind, [most] * len(self.ways[kind])))
        return self._up(total + self._least(slope, low, high))

    def _worth(self, values: tuple[int, ...]) -> list[int]:
        """The most the pieces within each width are worth: the plain bounded knapsack."""
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


def _gain(kind: int, pattern: Pattern, values: tuple[int, ...], fees: list[tuple[Choice, int]]) -> int:
    """What a bar is worth: its pieces, and the fee of every choice whose test it passes."""
    gain = sum(times * value for times, value in zip(pattern, values, strict=True) if times)
    for choice, fee in fees:
        if fee and choice.kind in (None, kind) and all(pattern[piece] >= times for piece, times in choice.holds):
            gain += fee
    return gain


def _pair(slope: list[int], pair: tuple[int, int], low: list[int], high: list[int], have: int) -> int:
    """Least of two kinds that share ``have`` bars."""
    spare = have - sum(low[kind] for kind in pair)
    total = sum(slope[kind] * low[kind] for kind in pair)
    for kind in sorted(pair, key=lambda kind: slope[kind]):
        more = max(0, min(spare, high[kind] - low[kind]))
        if slope[kind] < 0:
            total += slope[kind] * more
            spare -= more
    return total
