"""The cutting plan as bars: each different pattern once, to one scale for its material, and what each bar's pieces are for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import islice

from fencing.buying.purchase_lines import Cutting, SawnBar
from fencing.cutting import CutBar
from fencing.drawing.lettering import width
from fencing.model.roles import name_role
from shared.common.figures import localize

LONG = 1000.0
DEEP = 34.0
SIZE = 15.0


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
    for length in _lengths(bar.cuts):
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
    if width(str(length), SIZE) < wide:
        middle, foot = at + wide / 2, DEEP / 2 + 5
        parts.append(f'<text class="b-text" x="{middle:.1f}" y="{foot:.0f}" text-anchor="middle">{length}</text>')
    return parts


def _lengths(cuts: Sequence[tuple[int, int]]) -> list[int]:
    return [length for length, count in cuts for _ in range(count)]
