"""Quantities of a take-off, and their differences after a change."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from fencing.buying.packs import plain
from fencing.documents.explain import UNITS, explain
from fencing.model.pieces import Quantity
from fencing.model.roles import name_role
from fencing.quantities.take_off import TakeOff
from quotes.documents.number_format import worded
from shared.common.figures import localize


@dataclass(frozen=True, slots=True)
class QuantityRow:
    """Quantity of one component. ``why`` explains the total in sentences."""

    name: str
    finish: str
    net: str
    allowance: str
    total: str
    why: str


@dataclass(frozen=True, slots=True)
class QuantityDifference:
    """Return the difference of each row. ``by`` has a sign. Unchanged rows are included."""

    name: str
    finish: str
    before: str
    after: str
    by: str


def quantity_rows(taken: TakeOff) -> list[QuantityRow]:
    """Every quantity with its why, in the order of the take-off."""
    sentences = {role: list(explain(taken, role)) for role in dict.fromkeys(row.role for row in taken.quantities)}
    return [
        QuantityRow(
            name=name_role(row.role, row.total),
            finish=row.finish or "",
            net=_amount(row.net, row.unit),
            allowance=_amount(row.allowance, row.unit) if row.allowance else "",
            total=_amount(row.total, row.unit),
            why=worded(sentences[row.role].pop(0)),
        )
        for row in taken.quantities
    ]


def moved_between(before: TakeOff, after: TakeOff) -> list[QuantityDifference]:
    """Each component of either take-off, in the order lists are printed, those of the second alone last."""
    was, now = _totals(before), _totals(after)
    rows = []
    for key in dict.fromkeys([*was, *now]):
        role, finish, unit = key
        first, second = was.get(key, Decimal(0)), now.get(key, Decimal(0))
        change = second - first
        by = (
            f"{'+' if change > 0 else '−' if change < 0 else ''}{_amount(abs(change), unit)}" if change else "no change"
        )
        rows.append(QuantityDifference(name_role(role), finish, _amount(first, unit), _amount(second, unit), by))
    return rows


def _totals(taken: TakeOff) -> dict[tuple[str, str, str], Decimal]:
    return {_key(row): row.total for row in taken.quantities}


def _key(row: Quantity) -> tuple[str, str, str]:
    return row.role, row.finish or "", row.unit


def _amount(number: Decimal, unit: str) -> str:
    return localize(f"{number:.3f} m³" if unit == "MTQ" else f"{plain(number)}{UNITS.get(unit, f' {unit}')}")
