"""Rows of the take-off page: quantities, their differences after a change, and the cutting plan with its drawings.

The cutting plan has each different pattern once, to one scale for its material, with the places of the pieces of each length.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import islice

from fencing.buying.purchase_lines import Cutting, SawnBar, plain
from fencing.cutting import CutBar
from fencing.documents.explain import UNITS, explain
from fencing.drawing.svg import measure_width
from fencing.model.roles import name_role
from fencing.quantities.take_off import TakeOff
from quotes.documents.number_format import worded
from shared.common.figures import localize

LONG = 1000.0
DEEP = 34.0
SIZE = 15.0


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
    return {(row.role, row.finish or "", row.unit): row.total for row in taken.quantities}


def _amount(number: Decimal, unit: str) -> str:
    return localize(f"{number:.3f} m³" if unit == "MTQ" else f"{plain(number)}{UNITS.get(unit, f' {unit}')}")


@dataclass(frozen=True, slots=True)
class Pattern:
    count: int
    stock: int
    drawing: str
    words: str
    places: tuple[str, ...]
    """Of each bar, in the order of its cuts, numbered as on the saw sheet."""


@dataclass(frozen=True, slots=True)
class Sawing:
    """One material: its patterns, the bars it takes, and how much of them is used."""

    name: str
    finish: str
    bars: int
    used: str
    patterns: tuple[Pattern, ...]


def sawing(cutting: Cutting) -> Sawing:
    """Return the cutting plan of one material for a page."""
    stock = [row.length for row in cutting.plan.demand.stock]
    longest = max(stock[bar.stock] for bar in cutting.plan.bars)
    bought = sum(stock[bar.stock] * bar.count for bar in cutting.plan.bars)
    wanted = sum(piece.length * piece.count for piece in cutting.pieces)
    scale, sawn = LONG / longest, iter(cutting.bars)
    patterns = tuple(
        _pattern(bar, stock[bar.stock], scale, cutting.kerf, tuple(islice(sawn, bar.count)))
        for bar in cutting.plan.bars
    )
    bars = sum(bar.count for bar in cutting.plan.bars)
    return Sawing(
        name_role(cutting.role), cutting.finish or "", bars, localize(f"{100 * wanted / bought:.1f}"), patterns
    )


def _pattern(bar: CutBar, stock: int, scale: float, kerf: int, sawn: Sequence[SawnBar]) -> Pattern:
    cuts = " + ".join(f"{count} × {length}" for length, count in bar.cuts)
    left = f", {bar.left} mm {'offcut' if bar.keep else 'scrap'}" if bar.left else ", nothing left"
    words = f"{bar.count} of {stock} mm: {cuts}{left}"
    return Pattern(bar.count, stock, _drawn(bar, stock, scale, kerf, words), words, tuple(map(_places, sawn)))


def _places(bar: SawnBar) -> str:
    data = ", ".join(piece.used_at or name_role(piece.role) for piece in bar.pieces)
    return f"{bar.number}: {data}" + (f"; offcut {bar.remnant}" if bar.remnant else "")


def _drawn(bar: CutBar, stock: int, scale: float, kerf: int, words: str) -> str:
    parts, at = list[str](), 0.0
    for length in (length for length, count in bar.cuts for _ in range(count)):
        parts += _piece(length, at, length * scale)
        at += (length + kerf) * scale
    end = stock * scale
    if end - at > 1:
        look = "b-keep" if bar.keep else "b-scrap"
        parts.append(f'<rect class="{look}" x="{at:.1f}" y="1" width="{end - at:.1f}" height="{DEEP - 2:.0f}"/>')
        if not bar.keep:
            parts.append(f'<path class="b-cross" d="M{at:.1f} 1L{end:.1f} {DEEP - 1:.0f}"/>')
    body = "".join(parts)
    return f'<svg viewBox="-1 0 {LONG + 2:.0f} {DEEP:.0f}" role="img" aria-label="{words}">{body}</svg>'


def _piece(length: int, at: float, wide: float) -> list[str]:
    parts = [f'<rect class="b-piece" x="{at:.1f}" y="1" width="{wide:.1f}" height="{DEEP - 2:.0f}"/>']
    if measure_width(str(length), SIZE) < wide:
        middle, foot = at + wide / 2, DEEP / 2 + 5
        parts.append(f'<text class="b-text" x="{middle:.1f}" y="{foot:.0f}" text-anchor="middle">{length}</text>')
    return parts
