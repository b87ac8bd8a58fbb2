"""Reasons for the choice of a supplier for each need, as sentences with numbers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from fencing.buying.packs import plain
from fencing.buying.supplier_prices import SupplierTermsAndPrices
from fencing.buying.supplier_search import Pick, Task


@dataclass(frozen=True, slots=True)
class SearchRequest:
    """The search task and its suppliers. ``scale`` converts integer costs to money; amounts below ``ties`` only break ties."""

    task: Task
    suppliers: tuple[SupplierTermsAndPrices, ...]
    scale: int
    ties: int
    digits: int | None = None

    def name(self, supplier: int) -> str:
        return self.suppliers[supplier].name or self.suppliers[supplier].code

    def money(self, parts: int) -> str:
        """Return an integer cost as text in money, with ``digits`` decimals if known."""
        amount = Decimal(parts // self.ties * self.ties) / self.scale
        return plain(amount) if self.digits is None else f"{amount:.{self.digits}f}"

    def refused(self, picks: Sequence[Pick]) -> str:
        """Return the reason why these orders are not possible: a minimum order, or too many suppliers."""
        for supplier in dict.fromkeys(pick.supplier for pick in picks):
            goods = sum(pick.cost for pick in picks if pick.supplier == supplier)
            if self.task.fee(supplier, goods) is None:
                least = self.suppliers[supplier].minimum_order
                return f"{self.name(supplier)} has a minimum order of {plain(least)}"
        return "that needs more suppliers than are allowed"


def why_here(asking: SearchRequest, picks: Sequence[Pick]) -> list[str]:
    """Return a sentence for each pick: the only supplier, the cheapest, or the total if it were bought elsewhere."""
    total = asking.task.charge(picks) or 0
    return [_why(asking, picks, total, need) for need in range(len(picks))]


def _why(asking: SearchRequest, picks: Sequence[Pick], total: int, need: int) -> str:
    pick, elsewhere = picks[need], dict[int, Pick]()
    for other in asking.task.needs[need]:
        if other.supplier != pick.supplier:
            elsewhere.setdefault(other.supplier, other)
    here, ours = asking.name(pick.supplier), asking.money(pick.cost)
    if not elsewhere:
        return f"{here}: the only supplier" if len(asking.suppliers) > 1 else ""
    next_best = min(elsewhere.values())
    there, theirs = asking.name(next_best.supplier), asking.money(next_best.cost)
    if next_best.component != pick.component:
        theirs += f" for {next_best.component}"
    if next_best.cost > pick.cost:
        return f"{here}: {ours}, the cheapest; {there} charges {theirs}"
    prices = f"{here}: {ours}; {there} charges {theirs}"
    instead = [*picks[:need], next_best, *picks[need + 1 :]]
    moved = asking.task.charge(instead)
    if moved is None:
        return f"{prices}, but {asking.refused(instead)}"
    if moved // asking.ties > total // asking.ties:
        more = asking.money((moved // asking.ties - total // asking.ties) * asking.ties)
        return f"{prices}, but with delivery the total would be {more} more"
    return f"{prices}, and the total would be the same; fewer and preferred suppliers come first"
