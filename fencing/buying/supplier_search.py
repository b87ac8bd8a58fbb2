"""Exact search for the split over suppliers: branch and bound with integers only.

A way to buy is one pick for each need. Its cost is the goods, and for each supplier used the delivery fee for the value of its
goods. Each supplier has a minimum order. Of equal costs, fewer suppliers come first, then fewer suppliers that are not
preferred. Both numbers are added to the fees as parts that are too small to add up to the smallest unit of money.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import NamedTuple

FINE = 1 << 64
"""Scale of the integer ratios that moves are sorted by. The bounds are exact in any order."""


class Pick(NamedTuple):
    """One way to buy one need, completely from one supplier."""

    cost: int
    supplier: int
    quantity: Decimal
    component: str


class Band(NamedTuple):
    """Delivery fee for goods from ``least`` on, and under ``below`` if a higher fee starts there."""

    fee: int
    least: int
    below: int | None


Needs = tuple[tuple[Pick, ...], ...]
States = tuple[int | None, ...]
"""Index of the band for each supplier's order; None: not decided. An excluded supplier has no picks left."""


@dataclass(frozen=True, slots=True)
class Task:
    """Picks by need, cheapest first; bands by supplier; maximum number of suppliers."""

    needs: Needs
    bands: tuple[tuple[Band, ...], ...]
    most: int | None = None

    def charge(self, picks: Sequence[Pick]) -> int | None:
        """Return the total of these picks with delivery, or None if a minimum order or the supplier limit is not met."""
        goods: dict[int, int] = {}
        for pick in picks:
            goods[pick.supplier] = goods.get(pick.supplier, 0) + pick.cost
        if self.most is not None and len(goods) > self.most:
            return None
        total = 0
        for supplier, value in goods.items():
            fee = self.fee(supplier, value)
            if fee is None:
                return None
            total += value + fee
        return total

    def fee(self, supplier: int, goods: int) -> int | None:
        """Return the fee for goods of this value, or None below the minimum order."""
        fees = [
            band.fee
            for band in self.bands[supplier]
            if band.least <= goods and (band.below is None or goods < band.below)
        ]
        return min(fees, default=None)


@dataclass(frozen=True, slots=True)
class SplitResult:
    """Best picks, their total, and a lower bound of every total. Both are equal if the best is proved."""

    picks: tuple[Pick, ...]
    total: int
    bound: int


class _Move(NamedTuple):
    """Pick that raises a supplier's goods by ``gain`` and the total by ``extra``."""

    ratio: int
    need: int
    extra: int
    gain: int
    pick: Pick


@dataclass(slots=True)
class _Look:
    """Node of the search: its bound, a way to buy, and the next decision."""

    needs: Needs
    states: States
    base: list[Pick]
    goods: list[int]
    bound: int
    tried: list[Pick]
    open: int | None = None
    critical: tuple[int, Pick] | None = None


@dataclass(slots=True)
class _Search:
    task: Task
    best: tuple[Pick, ...] | None = None
    total: int = 0
    work: int = 0
    stack: list[_Look] = field(default_factory=list)

    def run(self, most: int) -> SplitResult | None:
        self._push([self._look(self.task.needs, (None,) * len(self.task.bands))])
        while self.stack and self.work < most:
            # depth first for good solutions early; then best bound first, for a tight bound if the work limit is reached
            wide = self.work > most // 2
            node = self.stack.pop(min(range(len(self.stack)), key=lambda item: self.stack[item].bound) if wide else -1)
            if self._promises(node):
                self._push(self._children(node))
        if self.best is None:
            return None
        left = [node.bound for node in self.stack if self._promises(node)]
        if left:
            self._improve()
        return SplitResult(self.best, self.total, min([self.total, *left]))

    def _promises(self, node: _Look) -> bool:
        return self.best is None or node.bound < self.total

    def _push(self, looks: Sequence[_Look | None]) -> None:
        """Add nodes to the stack, with the lowest bound on top."""
        known = [look for look in looks if look is not None]
        for look in known:
            self._try(look.base)
            self._try(look.tried)
        self.stack += sorted((look for look in known if self._promises(look)), key=lambda item: -item.bound)

    def _try(self, picks: Sequence[Pick]) -> None:
        total = self.task.charge(picks)
        if total is not None and (self.best is None or total < self.total):
            self.best, self.total = tuple(picks), total

    def _improve(self) -> None:
        """Replace single picks while that makes the total cheaper."""
        before = self.total + 1
        while self.best is not None and self.total < before:
            before = self.total
            for need, picks in enumerate(self.task.needs):
                for pick in picks:
                    self._try([*self.best[:need], pick, *self.best[need + 1 :]])

    def _look(self, needs: Needs, states: States) -> _Look | None:
        """Make a node with its bound and next decision; return None if no solution is left."""
        self.work += sum(map(len, needs))
        if not all(needs):
            return None
        base = [picks[0] for picks in needs]
        goods = [0] * len(states)
        for pick in base:
            goods[pick.supplier] += pick.cost
        look = _Look(needs, states, base, goods, sum(goods), list(base))
        raised, opened = self._raise(look), self._open(look)
        if raised is None or opened is None:
            return None
        look.bound += max(raised, opened)
        return look

    def _raise(self, look: _Look) -> int | None:
        """Add the fees of decided suppliers to the bound.

        Return the minimum cost of moving their goods into their bands, or None if that is not possible.
        """
        raised = 0
        for supplier, place in enumerate(look.states):
            if place is None:
                continue
            band, value = self.task.bands[supplier][place], look.goods[supplier]
            look.bound += band.fee
            if value < band.least:
                extra = _cover(look, supplier, band.least - value)
                if extra is None:
                    return None
                raised += extra
            elif band.below is not None and value >= band.below and not _lower(look, supplier, band.below):
                return None
        return raised

    def _open(self, look: _Look) -> int | None:
        """Return the minimum that undecided suppliers add: the lowest fee, or the extra cost of their goods elsewhere."""
        most, elsewhere = _find_reach(look)
        added, weight = 0, (-1, -1)
        for supplier, place in enumerate(look.states):
            if place is not None or not elsewhere[supplier][1]:
                continue
            fees = [band.fee for band in self.task.bands[supplier] if band.least <= most[supplier]]
            ways = [*([min(fees)] if fees else []), *([elsewhere[supplier][0]] if elsewhere[supplier][2] else [])]
            if not ways:
                return None
            added += min(ways)
            if (min(ways), look.goods[supplier]) > weight:
                weight, look.open = (min(ways), look.goods[supplier]), supplier
        return added

    def _children(self, look: _Look) -> list[_Look | None]:
        if look.open is not None:
            return self._decided(look, look.open)
        if look.critical is None:
            return []
        need, pick = look.critical
        others = tuple(item for item in look.needs[need] if item != pick)
        return [
            self._look((*look.needs[:need], own, *look.needs[need + 1 :]), look.states) for own in ((pick,), others)
        ]

    def _decided(self, look: _Look, supplier: int) -> list[_Look | None]:
        """Return the nodes without the supplier, and with its goods in each of its bands."""
        before, after = look.states[:supplier], look.states[supplier + 1 :]
        children = [self._look(_remove_suppliers(look.needs, {supplier}), look.states)]
        used = 1 + sum(place is not None for place in look.states)
        if self.task.most is not None and used > self.task.most:
            return children
        needs = look.needs
        if used == self.task.most:
            needs = _remove_suppliers(
                needs, {state for state, place in enumerate(look.states) if place is None} - {supplier}
            )
        bands = range(len(self.task.bands[supplier]))
        return children + [self._look(needs, (*before, place, *after)) for place in bands]


def search(task: Task, work: int) -> SplitResult | None:
    """Return the cheapest way to buy, or None if there is none (or none was found within the work limit).

    Rule: explore every node whose bound is below the best total, until none is left or ``work`` picks were examined. Then
    the bound limits the possible further saving. A bound is the sum of the cheapest picks, the fees of decided suppliers, and
    the larger of two amounts:

    - the minimum cost of raising the goods of decided suppliers into their bands (Lagrange bound, one multiplier each);
    - for each undecided supplier the smaller of its fee and the extra cost of its goods elsewhere.

    Source: house rule.
    """
    return _Search(task).run(work)


def _remove_suppliers(needs: Needs, suppliers: set[int]) -> Needs:
    return tuple(tuple(pick for pick in picks if pick.supplier not in suppliers) for picks in needs)


def _find_reach(look: _Look) -> tuple[list[int], list[tuple[int, bool, bool]]]:
    """Return two lists by supplier: its maximum goods, and (extra cost elsewhere, has needs, all needs available elsewhere)."""
    most = [0] * len(look.states)
    elsewhere = [(0, False, True)] * len(look.states)
    for base, picks in zip(look.base, look.needs, strict=True):
        dearest: dict[int, int] = {}
        other: Pick | None = None
        for pick in picks:
            dearest[pick.supplier] = pick.cost
            if other is None and pick.supplier != base.supplier:
                other = pick
        for supplier, cost in dearest.items():
            most[supplier] += cost
        more, _, can = elsewhere[base.supplier]
        extra = other.cost - base.cost if other else 0
        elsewhere[base.supplier] = (more + extra, True, can and other is not None)
    return most, elsewhere


def _cover(look: _Look, supplier: int, short: int) -> int | None:
    """Return the minimum cost of raising a supplier's goods by ``short``, or None; set the next decision of the node."""
    moves = sorted(_list_moves(look, supplier))
    had: dict[int, int] = {}
    reached = 0
    for move in moves:
        more = move.gain - had.get(move.need, 0)
        if more <= 0:
            continue
        had[move.need] = move.gain
        reached += more
        if look.tried[move.need].supplier in {look.base[move.need].supplier, supplier}:
            look.tried[move.need] = move.pick
        if reached >= short:
            look.critical = look.critical or (move.need, move.pick)
            return _find_least_extra(moves, short, move)
    return None


def _list_moves(look: _Look, supplier: int) -> list[_Move]:
    moves: list[_Move] = []
    for need, (base, picks) in enumerate(zip(look.base, look.needs, strict=True)):
        had = base.cost if base.supplier == supplier else 0
        for pick in picks:
            if pick.supplier == supplier and pick.cost > had:
                extra, gain = pick.cost - base.cost, pick.cost - had
                moves.append(_Move(extra * FINE // gain, need, extra, gain, pick))
    return moves


def _find_least_extra(moves: Sequence[_Move], short: int, at: _Move) -> int:
    """Return the Lagrange bound at the ratio of one move. It is valid at any ratio, and tightest at the completing move."""
    reduced: dict[int, int] = {}
    for move in moves:
        value = move.extra * at.gain - at.extra * move.gain
        reduced[move.need] = min(value, reduced.get(move.need, 0))
    return max(0, -(-(at.extra * short + sum(reduced.values())) // at.gain))


def _lower(look: _Look, supplier: int, below: int) -> bool:
    """Return whether a supplier's goods can be reduced below ``below``; set the largest pick as the next decision."""
    bound = [need for need, picks in enumerate(look.needs) if all(pick.supplier == supplier for pick in picks)]
    if sum(look.base[need].cost for need in bound) >= below:
        return False
    free = [need for need, pick in enumerate(look.base) if pick.supplier == supplier and need not in bound]
    need = max(free, key=lambda item: look.base[item].cost)
    look.critical = look.critical or (need, look.base[need])
    return True
