"""Why each need comes from the supplier it comes from, in a sentence with its numbers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from fencing.buying.packs import plain
from fencing.buying.supplier_prices import SupplierTermsAndPrices
from fencing.buying.supplier_search import Pick, Task


@dataclass(frozen=True, slots=True)
class SearchRequest:
    """What was searched, and who sells it; ``scale`` parts of the task make a unit of money, under ``ties`` they make none."""

    task: Task
    suppliers: tuple[SupplierTermsAndPrices, ...]
    scale: int
    ties: int
    digits: int | None = None

    def name(self, supplier: int) -> str:
        return self.suppliers[supplier].name or self.suppliers[supplier].code

    def money(self, parts: int) -> str:
        """Parts as they are printed, whole minor units where they are known."""
        amount = Decimal(parts // self.ties * self.ties) / self.scale
        return plain(amount) if self.digits is None else f"{amount:.{self.digits}f}"

    def refused(self, picks: Sequence[Pick]) -> str:
        """Why these orders can't be: the supplier whose least order they don't reach, otherwise too many suppliers."""
        for supplier in dict.fromkeys(pick.supplier for pick in picks):
            goods = sum(pick.cost for pick in picks if pick.supplier == supplier)
            if self.task.fee(supplier, goods) is None:
                least = self.suppliers[supplier].minimum_order
                return f"{self.name(supplier)} takes no order under {plain(least)}"
        return "that takes more suppliers than are allowed"


def why_here(asking: SearchRequest, picks: Sequence[Pick]) -> list[str]:
    """A sentence for each pick: the only seller, the cheapest, or what buying it elsewhere would make of the whole."""
    total = asking.task.charge(picks) or 0
    return [_why(asking, picks, total, need) for need in range(len(picks))]


def _why(asking: SearchRequest, picks: Sequence[Pick], total: int, need: int) -> str:
    pick, elsewhere = picks[need], dict[int, Pick]()
    for other in asking.task.needs[need]:
        if other.supplier != pick.supplier:
            elsewhere.setdefault(other.supplier, other)
    here, ours = asking.name(pick.supplier), asking.money(pick.cost)
    if not elsewhere:
        return f"{here}: nobody else sells it" if len(asking.suppliers) > 1 else ""
    next_best = min(elsewhere.values())
    there, theirs = asking.name(next_best.supplier), asking.money(next_best.cost)
    if next_best.component != pick.component:
        theirs += f" for {next_best.component}"
    if next_best.cost > pick.cost:
        return f"{here}: {ours}, the least; {there} asks {theirs}"
    asks = f"{here}: {ours}; {there} asks {theirs}"
    instead = [*picks[:need], next_best, *picks[need + 1 :]]
    moved = asking.task.charge(instead)
    if moved is None:
        return f"{asks}, but {asking.refused(instead)}"
    if moved // asking.ties > total // asking.ties:
        more = asking.money((moved // asking.ties - total // asking.ties) * asking.ties)
        return f"{asks}, but with deliveries everything would come to {more} more"
    return f"{asks}, and everything would come to the same; fewer and preferred suppliers go first"
