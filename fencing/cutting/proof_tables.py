"""Tables of the proof checker: room and cost of the bars of a proof, and the totals they can add up to."""

from __future__ import annotations

from fractions import Fraction
from math import gcd, inf

from fencing.cutting.plan_model import Certificate, Demand


class Ways:
    """The ways to buy of each kind, read again from the demand."""

    def __init__(self, demand: Demand, certificate: Certificate, cost: int) -> None:
        self.demand, self.certificate, self.cost = demand, certificate, cost
        self.faults: list[str] = []
        self.ways: list[list[tuple[int, int]]] = []
        for rows in certificate.kinds:
            self.ways.append([self._way(row, credit) for row, credit in rows])
        self._check_rows()
        self.sums = self._sums()
        self.totals = self._payable()

    def _way(self, row: int, credit: bool) -> tuple[int, int]:
        """Return room and cost of a way to buy. The stand-in for pieces without stock (row -1) is never bought."""
        if row < 0:
            return 0, 0
        stock = self.demand.stock[row]
        if credit:
            return stock.length - stock.trim - stock.keep, stock.price + stock.handling - stock.credit
        return stock.length - stock.trim + self.demand.kerf, stock.price + stock.handling

    def _check_rows(self) -> None:
        """Check that every way to buy belongs to a kind or takes no piece."""
        named = {way for rows in self.certificate.kinds for way in rows}
        shortest = min(length for length, _ in self.demand.pieces) + self.demand.kerf
        for row, stock in enumerate(self.demand.stock):
            for credit in (False, True) if stock.credit else (False,):
                if (row, credit) not in named and self._way(row, credit)[0] >= shortest and stock.have != 0:
                    self.faults.append(f"stock {row} is left out of the proof")

    def _payable(self) -> tuple[int, int]:
        """Return the common divisor of the costs, and the payable totals as bits (0: too many to list)."""
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
        """Return how many bars may be bought at each cost."""
        limits: dict[int, int] = {}
        for kind, ways in zip(self.certificate.kinds, self.ways, strict=True):
            own = self._own(kind, ways)
            for (row, _), (_, cost) in zip(kind, ways, strict=True):
                if cost in own and row >= 0:
                    have = self.demand.stock[row].have
                    limits[cost] = limits.get(cost, 0) + (self.demand.count if have is None else have)
        return limits

    def _own(self, kind: tuple[tuple[int, bool], ...], ways: list[tuple[int, int]]) -> set[int]:
        """Return the costs of a kind, without those its unlimited first row can replace."""
        first_room, first_cost = self.reached(ways[0][0]), ways[0][1]
        endless = kind[0][0] >= 0 and self.demand.stock[kind[0][0]].have is None
        replaced = {
            cost for room, cost in ways[1:] if endless and cost >= first_cost and self.reached(room) <= first_room
        }
        return {cost for _, cost in ways if cost == first_cost or cost not in replaced}

    def reached(self, room: int) -> int:
        """Return the maximum of a width that pieces can fill."""
        return (self.sums & ((1 << (room + 1)) - 1)).bit_length() - 1

    def _sums(self) -> int:
        widest = max(room for ways in self.ways for room, _ in ways)
        bits, mask = 1, (1 << (widest + 1)) - 1
        for length, count in self.demand.pieces:
            width = length + self.demand.kerf
            for _ in range(min(count, widest // width)):
                bits |= (bits << width) & mask
        return bits

    def round_up(self, bound: int) -> int:
        """Return the smallest payable total of at least ``bound / scale`` units of money, in units of the price."""
        step, bits = self.totals
        whole = max(0, -(-bound * self.certificate.money // (self.certificate.scale * step)))
        while bits and whole * step < self.cost and not bits >> whole & 1:
            whole += 1
        return min(self.cost, whole * step)

    def below_cost(self) -> int:
        """Return the highest total below the plan's cost, in units of money."""
        step, bits = self.totals
        whole = -(-self.cost // step) - 1
        while bits and whole > 0 and not bits >> whole & 1:
            whole -= 1
        return whole * step // self.certificate.money

    def single(self, width: int) -> float:
        """Return the cost of the cheapest bar of an unlimited kind that takes a width."""
        costs = [
            cost
            for kind, ways in zip(self.certificate.kinds, self.ways, strict=True)
            for (row, _), (room, cost) in zip(kind, ways, strict=True)
            if row >= 0 and self.demand.stock[row].have is None and room >= width
        ]
        return min(costs, default=inf)

    def can_replace_others(self, kind: int) -> bool:
        """Return True if a kind's first way can replace all others: none takes more or costs less."""
        ways = self.ways[kind]
        room, cost = self.reached(ways[0][0]), ways[0][1]
        own = self._own(self.certificate.kinds[kind], ways)
        return own == {cost} and all(self.reached(other) <= room and item >= cost for other, item in ways)

    def least_paid(self, wanted: int, worth: list[int], low: list[int], high: list[int]) -> int:
        """Return the minimum total below the plan's cost of bars of the box worth ``wanted``; a bar of a kind is worth
        ``worth``.

        Totals are skipped if the money left can't buy enough worth, or if a smaller total is worth as much.
        """
        costs = [min(cost for _, cost in ways) for ways in self.ways]
        states = {
            sum(c * n for c, n in zip(costs, low, strict=True)): sum(w * n for w, n in zip(worth, low, strict=True))
        }
        kinds = [kind for kind in range(len(costs)) if high[kind] > low[kind] and worth[kind] > 0]
        kinds.sort(key=lambda kind: (costs[kind] > 0, -Fraction(worth[kind], costs[kind] or 1)))
        for place, kind in enumerate(kinds):
            after = kinds[place + 1 :]
            more: dict[int, int] = {}
            for total, have in states.items():
                times = high[kind] - low[kind]
                if costs[kind]:
                    times = min(times, (self.cost - 1 - total) // costs[kind])
                for count in range(times + 1) if costs[kind] else (times,):
                    paid, got = total + count * costs[kind], have + count * worth[kind]
                    if got > more.get(paid, -1) and self._may_reach(
                        wanted - got, self.cost - 1 - paid, after, costs, worth
                    ):
                        more[paid] = got
            states = _keep_best(more)
        return min((total for total, have in states.items() if have >= wanted), default=self.cost)

    def _may_reach(self, wanted: int, money: int, kinds: list[int], costs: list[int], worth: list[int]) -> bool:
        """Return True if this amount of money may still buy ``wanted``, at the best remaining rate."""
        if wanted <= 0:
            return True
        return bool(kinds) and (not costs[kinds[0]] or wanted * costs[kinds[0]] <= money * worth[kinds[0]])


def _keep_best(states: dict[int, int]) -> dict[int, int]:
    """Remove totals if a smaller one is worth as much."""
    kept: dict[int, int] = {}
    most = -1
    for total, have in sorted(states.items()):
        if have > most:
            kept[total] = most = have
    return kept
