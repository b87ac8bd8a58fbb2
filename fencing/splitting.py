"""The whole-number programme behind the split over suppliers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal

import highspy
import numpy as np

from fencing.cutting.master import quiet_solver
from fencing.offers import Split, Supplier, in_time, levels, order_from

TIE = 1e-5
"""Nudge for equal costs, in the price's own units: far under any last decimal times the sum of all."""


@dataclass(slots=True)
class _Programme:
    """Columns with bounds and costs, rows of (least, most, entries)."""

    costs: list[float] = field(default_factory=list)
    uppers: list[float] = field(default_factory=list)
    rows: list[tuple[float, float, dict[int, float]]] = field(default_factory=list)

    def column(self, cost: float) -> int:
        self.costs.append(cost)
        self.uppers.append(1.0)
        return len(self.costs) - 1

    def row(self, least: float, most: float, entries: dict[int, float]) -> None:
        self.rows.append((least, most, entries))

    def solve(self) -> list[int] | None:
        """The columns at 1 in a cheapest answer; None where there is none."""
        solver = quiet_solver()
        solver.setOptionValue("mip_rel_gap", 0.0)
        solver.setOptionValue("mip_abs_gap", TIE / 10)
        model = highspy.HighsLp()
        count = len(self.costs)
        model.num_col_, model.num_row_ = count, len(self.rows)
        model.col_cost_, model.col_lower_ = np.array(self.costs), np.zeros(count)
        model.col_upper_ = np.array(self.uppers)
        model.row_lower_ = np.array([least for least, _, _ in self.rows])
        model.row_upper_ = np.array([most for _, most, _ in self.rows])
        model.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
        model.a_matrix_.start_ = np.cumsum([0, *(len(entries) for _, _, entries in self.rows)]).astype(np.int32)
        model.a_matrix_.index_ = np.array([key for _, _, entries in self.rows for key in entries], dtype=np.int32)
        model.a_matrix_.value_ = np.array([value for _, _, entries in self.rows for value in entries.values()])
        model.integrality_ = [highspy.HighsVarType.kInteger] * count
        solver.passModel(model)
        solver.run()
        if solver.getModelStatus() != highspy.HighsModelStatus.kOptimal:
            return None
        return [place for place, value in enumerate(solver.getSolution().col_value) if value > 0.5]


def cheapest_split(
    wanted: Mapping[str, Decimal], suppliers: Sequence[Supplier], days: int | None, most_suppliers: int | None
) -> Split | None:
    """The cheapest split; None where none is possible.

    One 0/1 column for each (supplier, component, quantity worth ordering), for each supplier used, and for each delivery band.
    A band's goods lie between its start and the next band's; just under the next start is one unit of the last decimal less.
    """
    programme = _Programme()
    picks: dict[int, tuple[int, str, Decimal]] = {}
    covering: dict[str, dict[int, float]] = {component: {} for component in wanted}
    for place, supplier in enumerate(suppliers):
        goods = _add_offers(programme, supplier, place, wanted, days, picks, covering)
        _add_supplier(programme, supplier, goods)
    for entries in covering.values():
        if not entries:
            return None
        programme.row(1.0, 1.0, entries)
    if most_suppliers is not None:
        used = [column for column, pick in picks.items() if pick[1] == ""]
        programme.row(0.0, float(most_suppliers), dict.fromkeys(used, 1.0))
    chosen = programme.solve()
    if chosen is None:
        return None
    return _orders(wanted, suppliers, [picks[column] for column in chosen if column in picks])


def _add_offers(
    programme: _Programme,
    supplier: Supplier,
    place: int,
    wanted: Mapping[str, Decimal],
    days: int | None,
    picks: dict[int, tuple[int, str, Decimal]],
    covering: dict[str, dict[int, float]],
) -> tuple[int, dict[int, float]]:
    """Columns of what may be bought from a supplier, and the column that says it is used (its own pick has no component)."""
    used = programme.column(TIE * (1 if supplier.preferred else 2))
    picks[used] = (place, "", Decimal(0))
    goods: dict[int, float] = {}
    for offer in supplier.offers:
        if offer.component in wanted and in_time(supplier, offer, days):
            for quantity, cost in levels(wanted[offer.component], offer):
                column = programme.column(float(cost))
                picks[column] = (place, offer.component, quantity)
                covering[offer.component][column] = 1.0
                goods[column] = float(cost)
                programme.row(-highspy.kHighsInf, 0.0, {column: 1.0, used: -1.0})
    return used, goods


def _add_supplier(programme: _Programme, supplier: Supplier, offered: tuple[int, dict[int, float]]) -> None:
    """Least order and the bands of the delivery fee: exactly one band when used."""
    used, goods = offered
    most = sum(goods.values()) + 1.0
    programme.row(0.0, highspy.kHighsInf, {**goods, used: -float(supplier.least_order)})
    starts = [(Decimal(0), Decimal(0)), *supplier.delivery] if not _from_zero(supplier) else list(supplier.delivery)
    bands = [programme.column(float(fee)) for _, fee in starts]
    programme.row(0.0, 0.0, {**dict.fromkeys(bands, 1.0), used: -1.0})
    programme.row(
        0.0,
        highspy.kHighsInf,
        {**goods, **{band: -float(start) for band, (start, _) in zip(bands, starts, strict=True)}},
    )
    ends = [*(float(start) - 1e-4 for start, _ in starts[1:]), most]
    programme.row(-highspy.kHighsInf, 0.0, {**goods, **{band: -end for band, end in zip(bands, ends, strict=True)}})


def _from_zero(supplier: Supplier) -> bool:
    return bool(supplier.delivery) and supplier.delivery[0][0] == 0


def _orders(
    wanted: Mapping[str, Decimal], suppliers: Sequence[Supplier], picked: Sequence[tuple[int, str, Decimal]]
) -> Split:
    chosen: dict[int, dict[str, tuple[Decimal, Decimal]]] = {}
    for place, component, quantity in picked:
        if component:
            chosen.setdefault(place, {})[component] = (wanted[component], quantity)
    return Split(tuple(order_from(suppliers[place], own) for place, own in sorted(chosen.items())))
