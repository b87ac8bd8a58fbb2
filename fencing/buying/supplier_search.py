"""The exact search behind the split over suppliers: branch and bound in whole numbers, with no float in it.

A way to buy is one pick for each need. It costs its goods, and for each supplier used the delivery fee by the value of its
goods; a supplier takes no order under its least. Of equal costs the fewer suppliers go first, then the fewer that are not
preferred: both are added to the fees, as parts so small that they never add up to the smallest unit of money.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import NamedTuple

FINE = 1 << 64
"""Ratios are sorted as whole parts of this; the bounds are exact whatever the order."""


class Pick(NamedTuple):
    """One way to get one need: whole, from one supplier."""

    cost: int
    supplier: int
    quantity: Decimal
    component: str


class Band(NamedTuple):
    """A fee for goods of at least ``least`` and, where more would cost a higher fee, under ``below``."""

    fee: int
    least: int
    below: int | None


Needs = tuple[tuple[Pick, ...], ...]
States = tuple[int | None, ...]
"""By supplier the band its order is to reach; None: undecided. One that is ruled out has no picks left."""


@dataclass(frozen=True, slots=True)
class Task:
    """Picks by need, each cheapest first; bands by supplier; how many suppliers may be used."""

    needs: Needs
    bands: tuple[tuple[Band, ...], ...]
    most: int | None = None

    def charge(self, picks: Sequence[Pick]) -> int | None:
        """What these picks come to with their deliveries; None where a supplier takes no such order, or there are too many."""
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
        """The fee for goods of this value; None under the least order."""
        fees = [
            band.fee
            for band in self.bands[supplier]
            if band.least <= goods and (band.below is None or goods < band.below)
        ]
        return min(fees, default=None)


@dataclass(frozen=True, slots=True)
class SplitResult:
    """The best way found, what it comes to, and what no way can be under: the same where it is proved."""

    picks: tuple[Pick, ...]
    total: int
    bound: int


class _Move(NamedTuple):
    """A pick of a supplier that raises its goods by ``gain`` and the cost by ``extra``."""

    ratio: int
    need: int
    extra: int
    gain: int
    pick: Pick


@dataclass(slots=True)
class _Look:
    """What is known of a part of the search: its bound, a way to buy, and what to decide next."""

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
            # deep first, for good ways early; then wide, for a bound that is worth something if the work runs out
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
        """The most promising part is gone on with first."""
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
        """Whatever a single other pick makes cheaper."""
        before = self.total + 1
        while self.best is not None and self.total < before:
            before = self.total
            for need, picks in enumerate(self.task.needs):
                for pick in picks:
                    self._try([*self.best[:need], pick, *self.best[need + 1 :]])

    def _look(self, needs: Needs, states: States) -> _Look | None:
        """Bound and next decision; None where no way is left."""
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
        """Adds the fees of decided suppliers; the least it costs to bring their goods into their bands, None: they can't be."""
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
        """What undecided suppliers add at least: each its lowest fee, or what its goods cost more elsewhere."""
        most, elsewhere = _reach(look)
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
        """Without the supplier, or with its goods in each of its bands."""
        before, after = look.states[:supplier], look.states[supplier + 1 :]
        children = [self._look(_without(look.needs, {supplier}), look.states)]
        used = 1 + sum(place is not None for place in look.states)
        if self.task.most is not None and used > self.task.most:
            return children
        needs = look.needs
        if used == self.task.most:
            needs = _without(needs, {state for state, place in enumerate(look.states) if place is None} - {supplier})
        bands = range(len(self.task.bands[supplier]))
        return children + [self._look(needs, (*before, place, *after)) for place in bands]


def search(task: Task, work: int) -> SplitResult | None:
    """The cheapest way to buy; None where there is none (or none was found within the work).

    Rule: every part of the search whose bound is under the best way so far is looked into, most promising first, until none
    is left or ``work`` picks were looked at; then the bound says how much cheaper it might be. A bound is each need at its
    cheapest, the fees of suppliers that are decided, and the greater of: what it takes at least to raise their goods to what
    their fee asks for (Lagrange, a multiplier for each), or the lesser of fee and dearer goods elsewhere for each supplier
    that is not decided. Source: house rule.
    """
    return _Search(task).run(work)


def _without(needs: Needs, suppliers: set[int]) -> Needs:
    return tuple(tuple(pick for pick in picks if pick.supplier not in suppliers) for picks in needs)


def _reach(look: _Look) -> tuple[list[int], list[tuple[int, bool, bool]]]:
    """By supplier the most its goods can come to; what its needs cost more elsewhere, whether it has any, whether all can."""
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
    """The least it costs to raise a supplier's goods by ``short``; notes the move to decide on. None where they can't be."""
    moves = sorted(_moves(look, supplier))
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
            return _least_extra(moves, short, move)
    return None


def _moves(look: _Look, supplier: int) -> list[_Move]:
    found: list[_Move] = []
    for need, (base, picks) in enumerate(zip(look.base, look.needs, strict=True)):
        had = base.cost if base.supplier == supplier else 0
        for pick in picks:
            if pick.supplier == supplier and pick.cost > had:
                extra, gain = pick.cost - base.cost, pick.cost - had
                found.append(_Move(extra * FINE // gain, need, extra, gain, pick))
    return found


def _least_extra(moves: Sequence[_Move], short: int, at: _Move) -> int:
    """The Lagrange bound at the ratio of one move: valid at any ratio, tightest at the one that completes the goods."""
    reduced: dict[int, int] = {}
    for move in moves:
        value = move.extra * at.gain - at.extra * move.gain
        reduced[move.need] = min(value, reduced.get(move.need, 0))
    return max(0, -(-(at.extra * short + sum(reduced.values())) // at.gain))


def _lower(look: _Look, supplier: int, below: int) -> bool:
    """Notes the largest pick to decide on where goods have to come under a higher fee; whether they can."""
    bound = [need for need, picks in enumerate(look.needs) if all(pick.supplier == supplier for pick in picks)]
    if sum(look.base[need].cost for need in bound) >= below:
        return False
    free = [need for need, pick in enumerate(look.base) if pick.supplier == supplier and need not in bound]
    need = max(free, key=lambda item: look.base[item].cost)
    look.critical = look.critical or (need, look.base[need])
    return True
