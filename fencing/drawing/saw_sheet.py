"""The saw sheet: every bar to scale with its cuts in order, the use of each piece, the kerf, and the offcut to keep.

Neighbouring bars with equal cuts are drawn once, with their numbers and the locations of all their pieces.

One unit is one millimetre of paper. Drawn in ink alone: what is kept, what is scrap and what the saw takes differ by shape.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from fencing.buying.purchase_lines import Cutting, SawLabel, SawnBar
from fencing.drawing.bar_groups import BarGroup, group_equal_bars, wrap_text
from fencing.drawing.svg import (
    draw_group,
    draw_path,
    draw_text,
    fit_words,
    format_number,
    measure_width,
    trace_box,
    trace_line,
    write_drawing,
)
from fencing.model.roles import name_role

SIZE = 2.6
"""Size of the letters [mm]."""
DEEP = 6.0
"""Height of a bar [mm]."""
LINE = 3.4
MARGIN = 38.0
"""Space for the numbers and the stock to the left of a bar."""
STOCK = 17.0
"""Position of the stock in it."""
MAX_LINES = 4


@dataclass(slots=True)
class _Words:
    """Labels under a bar: each on the first line where it overlaps none before it."""

    ends: list[float] = field(default_factory=list)
    parts: list[str] = field(default_factory=list)

    def put(self, middle: float, words: str, top: float, room: tuple[float, float], *, bold: bool = False) -> None:
        long = measure_width(words, SIZE)
        middle = min(max(middle, room[0] + long / 2), max(room[1] - long / 2, room[0] + long / 2))
        start = middle - long / 2
        line = next((place for place, end in enumerate(self.ends) if end + 1.0 <= start), len(self.ends))
        if line == len(self.ends):
            if line == MAX_LINES:
                return
            self.ends.append(0.0)
        self.ends[line] = start + long
        self.parts.append(draw_text(middle, top + (line + 1) * LINE, words, SIZE, bold=bold))


def draw_saw_sheets(cutting: Cutting, title: str, paper: float = 180.0, height: float = 250.0) -> tuple[str, ...]:
    """Draw the bars of one material, as many sheets as they need.

    Rule: one scale for all bars, the longest as wide as the paper. Cuts are in order from the left, with the measure from the
    end of the bar over each cut. Pieces carry their length and location. An offcut to keep is open and has its name, scrap is
    crossed out. Neighbours with equal cuts are drawn once; below are the locations of their pieces, a line for each length.

    Args:
        cutting: one material's plan with its bars [lengths in mm].
        title: of the job.
        paper: width [mm].
        height: of one sheet [mm].

    Returns:
        SVG texts, one a sheet, in the order of the bars.

    Source: house rule.

    Example:
        >>> from decimal import Decimal
        >>> from fencing.cutting import Budget
        >>> from fencing.buying.stock_options import StockLengthOption, StockOptions
        >>> from fencing.model.fence import Piece
        >>> from fencing.buying.cut_lengths import plan_cut_lengths
        >>> market = StockOptions(stock=(StockLengthOption("r48", "rail", None, 4800, Decimal(36)),), kerf={"rail": 3})
        >>> pieces = [Piece("rail", None, None, 2390, None, 2, ("A-1", "A-2"))]
        >>> cutting, _, _ = plan_cut_lengths("rail", None, pieces, market, Budget())
        >>> [sheet] = draw_saw_sheets(cutting, "Two bays")
        >>> sheet.count("2390 mm for A-"), "Saw sheet of Two bays" in sheet
        (2, True)
    """
    longest = max(bar.length for bar in cutting.bars)
    scale = (paper - MARGIN - 4) / longest
    room = height - _HEAD
    drawn = [
        item for bars in group_equal_bars(cutting.bars) for item in _fit_group(bars, cutting.kerf, scale, paper, room)
    ]
    pages: list[list[tuple[str, float]]] = [[]]
    used = _HEAD
    for item in drawn:
        if pages[-1] and used + item[1] > height:
            pages.append([])
            used = _HEAD
        pages[-1].append(item)
        used += item[1]
    return tuple(_draw_page(cutting, page, title, paper, (number, len(pages))) for number, page in enumerate(pages, 1))


_HEAD = 12.0


def _draw_page(
    cutting: Cutting, bars: Sequence[tuple[str, float]], title: str, paper: float, place: tuple[int, int]
) -> str:
    material = name_role(cutting.role) + (f", {cutting.finish}" if cutting.finish else "")
    number, of = place
    part = f", part {number} of {of}" if of > 1 else ""
    head = f"{material[0].upper()}{material[1:]}: {_count_bars(len(cutting.bars))}, saw cut {cutting.kerf} mm{part}"
    body = draw_text(0, 4.2, fit_words(head, 3.6, paper), 3.6, anchor="start", bold=True)
    rule = "Cut from the left. Small figures: measure from the left end to the cut. Crossed: scrap."
    body += draw_text(0, 8.6, fit_words(rule, SIZE, paper), SIZE, anchor="start", soft=True)
    y = _HEAD
    for part, deep in bars:
        body += draw_group("bar", part, transform=f"translate(0 {format_number(y)})")
        y += deep
    data = f"{_count_bars(len(cutting.bars))} drawn to scale with their cuts; the cutting plan lists the same cuts"
    return write_drawing("saw", paper, y, body, f"Saw sheet of {title}: {head}", data)


def _count_bars(bars: int) -> str:
    return "1 bar" if bars == 1 else f"{bars} bars"


def _fit_group(group: BarGroup, kerf: int, scale: float, paper: float, room: float) -> Iterator[tuple[str, float]]:
    """Yield groups of bars, divided if all their locations need more than a sheet."""
    drawn = _draw_bars(group, kerf, scale, paper)
    if drawn[1] <= room or len(group.bars) == 1:
        yield drawn
    else:
        for half in group.halve():
            yield from _fit_group(half, kerf, scale, paper, room)


def _draw_bars(group: BarGroup, kerf: int, scale: float, paper: float) -> tuple[str, float]:
    """Draw one bar or group of bars with its words; return its height too."""
    bar, top = group.first, LINE + 0.8
    single = len(group.bars) == 1
    sawn, measures = tuple(_place_pieces(bar, kerf, scale)), _Measures(top - 0.9)
    parts = _draw_margin(group, top)
    if bar.trim:
        parts.append(_draw_cut(MARGIN, top, bar.trim * scale))
    for piece in sawn:
        length, where = piece.label.length, piece.label.used_at
        name = f"{length} mm" + (f" for {where}" if where and single else "")
        parts.append(draw_path("post", trace_box(piece.left, top, piece.right - piece.left, DEEP), name))
        parts.append(_draw_length(piece.left, piece.right, top, f"{length}"))
        if piece.cut:
            parts.append(_draw_cut(piece.right, top, kerf * scale))
            measures.put(piece.right, f"{piece.end}")
    rest = min(bar.length, sawn[-1].end + kerf) if sawn else bar.trim
    parts.append(_draw_rest(bar, rest, scale, top))
    kept = MARGIN + (rest + bar.left / 2) * scale
    below, lines = _label_bar(bar, sawn, kept, top + DEEP, paper) if single else _label_group(group, top + DEEP, paper)
    return "".join([*parts, *measures.parts, *below]), top + DEEP + max(1, lines) * LINE + 2.6


def _draw_margin(group: BarGroup, top: float) -> list[str]:
    """Draw the text to the left of a bar: its number (or numbers and count), its stock."""
    bar, several = group.first, len(group.bars) > 1
    parts = [draw_text(0, top + 2.6, group.numbers, 3.2 if several else 3.6, anchor="start", bold=True)]
    if several:
        parts.append(draw_text(0, top + 5.7, _count_bars(len(group.bars)), SIZE, anchor="start", soft=True))
    parts.append(draw_text(STOCK, top + 2.3, fit_words(bar.sku, SIZE, MARGIN - STOCK - 1), SIZE, anchor="start"))
    parts.append(draw_text(STOCK, top + 5.7, f"{bar.length} mm", SIZE, anchor="start", soft=True))
    return parts


@dataclass(frozen=True, slots=True)
class _PieceOnBar:
    """A piece on its bar: ``left`` to ``right`` on the paper, its ``end`` on the bar [mm], and whether a cut follows."""

    label: SawLabel
    left: float
    right: float
    end: int
    cut: bool


def _place_pieces(bar: SawnBar, kerf: int, scale: float) -> Iterator[_PieceOnBar]:
    at = bar.trim
    for number, piece in enumerate(bar.pieces, 1):
        end = at + piece.length
        cut = number < len(bar.pieces) or end + kerf < bar.length
        yield _PieceOnBar(piece, MARGIN + at * scale, MARGIN + end * scale, end, cut)
        at = min(bar.length, end + kerf)


def _label_bar(
    bar: SawnBar, sawn: Sequence[_PieceOnBar], kept: float, top: float, paper: float
) -> tuple[list[str], int]:
    """Label the pieces of one bar and the offcut (its middle at ``kept``); return the number of lines too."""
    words = _Words()
    for piece in sawn:
        where = piece.label.used_at or piece.label.role
        words.put((piece.left + piece.right) / 2, where, top, (piece.left, paper))
    if bar.remnant:
        words.put(kept, f"keep: {bar.remnant}", top, (0, paper), bold=True)
    return words.parts, len(words.ends)


def _label_group(group: BarGroup, top: float, paper: float) -> tuple[list[str], int]:
    """Label the pieces of a group of bars in lines under the bar; return the number of lines too."""
    rows = [(f"{length}: {where}", False) for length, where in group.list_places()]
    if group.first.remnant:
        rows.append((f"keep: {group.name_remnants()}", True))
    lines = [(line, bold) for words, bold in rows for line in wrap_text(words, SIZE, paper - MARGIN)]
    parts = [
        draw_text(MARGIN, top + place * LINE, line, SIZE, anchor="start", bold=bold)
        for place, (line, bold) in enumerate(lines, 1)
    ]
    return parts, len(lines)


@dataclass(slots=True)
class _Measures:
    """Figures over the cuts, left out if they would overlap the one before; the piece lengths show the same."""

    y: float
    end: float = 0.0
    parts: list[str] = field(default_factory=list)

    def put(self, x: float, words: str) -> None:
        long = measure_width(words, 2.1)
        if x - long / 2 > self.end + 0.6:
            self.parts.append(draw_text(x, self.y, words, 2.1, soft=True))
            self.end = x + long / 2


def _draw_length(left: float, right: float, top: float, words: str) -> str:
    """Draw a length inside its piece, vertical if the piece is narrow."""
    middle = (left + right) / 2
    if measure_width(words, SIZE) + 0.8 <= right - left:
        return draw_text(middle, top + DEEP / 2 + 0.95, words, SIZE, bold=True)
    if right - left >= 2.4 and measure_width(words, 2.1) <= DEEP:
        return draw_text(middle + 0.8, top + DEEP / 2, words, 2.1, bold=True, turn=-90)
    return ""


def _draw_cut(x: float, top: float, wide: float) -> str:
    """Draw the kerf, always thick enough to see."""
    return draw_path("section", trace_box(x, top - 0.7, max(0.25, wide), DEEP + 1.4))


def _draw_rest(bar: SawnBar, at: int, scale: float, top: float) -> str:
    """Draw the rest: open with a broken edge if it is kept, crossed out if it is scrap."""
    left, right = MARGIN + at * scale, MARGIN + bar.length * scale
    if bar.left <= 0 or right - left < 0.3:
        return ""
    edge = draw_path("buried", trace_box(left, top, right - left, DEEP), f"{bar.left} mm left")
    words = f"{bar.left}"
    if bar.remnant:
        return edge + _draw_length(left, right, top, words)
    crossed = trace_line(left, top, right, top + DEEP) + trace_line(left, top + DEEP, right, top)
    return edge + draw_path("lap", crossed)
