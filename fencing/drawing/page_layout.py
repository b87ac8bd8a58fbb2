"""Standard scales and positions on paper, and the layout of rows on sheets.

Rows are beside each other while they fit, then below, then on the next sheet. What stands side by side is a band. A document
takes bands one after the other, so that text and drawings share its pages.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import groupby

from fencing.drawing.svg import draw_group, draw_path, draw_text, format_point, measure_width, trace_box

STANDARD = (10, 20, 25, 50, 100, 200, 250, 500, 1000, 2000, 2500, 5000, 10000, 20000, 25000, 50000, 100000, 200000)
_STEPS = (100, 200, 500, 1000, 2000, 5000, 10000, 20000, 50000, 100000, 200000, 500000, 1000000, 2000000, 5000000)


def find_scale(needed: float, least: int = 10) -> int:
    """Return the largest standard scale, as 1:n, not above 1:``needed`` or 1:``least``.

    >>> find_scale(61), find_scale(100), find_scale(3, least=50)
    (100, 100, 50)
    """
    for denominator in STANDARD:
        if denominator >= needed and denominator >= least:
            return denominator
    raise ValueError(f"no standard scale shows a drawing at 1:{needed:.0f}")


@dataclass(frozen=True, slots=True)
class ScaleBar:
    """A scale bar: ``step`` mm of ground to each of its ``blocks``."""

    step: int
    blocks: int

    @property
    def ground(self) -> int:
        """The ground length of the whole bar [mm]."""
        return self.step * self.blocks


def choose_bar(denominator: int, room: float) -> ScaleBar:
    """Return the longest bar of four round steps within ``room`` mm of paper; of two if four do not fit."""
    for blocks in (4, 2, 1):
        fitting = [step for step in _STEPS if step * blocks <= room * denominator]
        if fitting:
            return ScaleBar(fitting[-1], blocks)
    return ScaleBar(_STEPS[0], 1)


def draw_scale_bar(y: float, denominator: int, size: float, room: float = 44.0) -> tuple[str, float, float]:
    """Draw the bar with "1:n" before it, its top left at (0, y); return (SVG, width, height) [mm]."""
    stated = f"1:{denominator}"
    lead = measure_width(stated, size * 1.2) + 3
    scale = choose_bar(denominator, room)
    block = scale.step / denominator
    left, deep = lead + measure_width("0", size) / 2, 1.4
    blocks = "".join(
        draw_path(
            "block" if number % 2 == 0 else "blank", trace_box(left + number * block, y + size * 1.3, block, deep)
        )
        for number in range(scale.blocks)
    )
    whole = scale.ground
    label = f"{whole // 1000} m" if whole % 1000 == 0 else f"{whole} mm"
    written = draw_text(left, y + size, "0", size, soft=True)
    written += draw_text(left + scale.blocks * block, y + size, label, size, soft=True)
    written += draw_text(0, y + size * 1.3 + deep, stated, size * 1.2, anchor="start", bold=True)
    body = draw_group("scale", blocks + written, f"Scale {stated}; the bar is {label} long", ground=str(whole))
    return (
        body,
        lead + measure_width("0", size) / 2 + scale.blocks * block + measure_width(label, size) / 2,
        size * 1.3 + deep + 0.5,
    )


@dataclass(frozen=True, slots=True)
class Frame:
    """True scale 1:n in both directions: ``chainage`` is at ``left``, ``level`` at ``top`` [mm of paper]."""

    n: int
    chainage: float
    level: float
    left: float
    top: float

    def x(self, chainage: float) -> float:
        """Return the position on paper [mm from the left] of a chainage [mm].

        >>> Frame(100, 0, 1850, 10, 5).x(2400)  # 24 mm of paper at 1:100
        34.0
        """
        return self.left + (chainage - self.chainage) / self.n

    def y(self, level: float) -> float:
        """Return the position on paper [mm from the top] of a level [mm].

        >>> Frame(100, 0, 1850, 10, 5).y(50)  # 18 mm below the top at 1:100
        23.0
        """
        return self.top + (self.level - level) / self.n


_BESIDE, _UNDER = 5.0, 4.5
_FEW = 2  # sheets that need one scale bar between them


@dataclass(frozen=True, slots=True)
class Strip:
    """A finished row: its size on paper and its SVG with (0, 0) at its top left."""

    width: float
    height: float
    body: str


@dataclass(frozen=True, slots=True)
class PlacedStrip:
    x: float
    y: float
    strip: Strip


def calculate_foot_height(size: float) -> float:
    """Return the paper [mm] for the scale bar and the note under the rows."""
    return size * 1.65 + 1.9 + 3


def pack_strips(strips: Sequence[Strip], width: float, height: float | None) -> list[list[PlacedStrip]]:
    """Place strips in order on sheets ``width`` by ``height`` mm (None: one sheet of any height)."""
    sheets, shelf = list[list[PlacedStrip]]([[]]), list[Strip]()
    top = 0.0
    for strip in strips:
        used = sum(item.width + _BESIDE for item in shelf)
        if shelf and used + strip.width > width:
            top += max(item.height for item in shelf) + _UNDER
            shelf = []
            used = 0.0
        if height is not None and sheets[-1] and top + strip.height > height:
            if shelf:  # if the row of strips is too high for the sheet, it starts the next sheet
                shelf = []
            sheets.append([])
            top, used = 0.0, 0.0
        sheets[-1].append(PlacedStrip(used, top, strip))
        shelf.append(strip)
    return sheets


def divide_into_bands(sheets: Sequence[Sequence[PlacedStrip]]) -> Iterator[tuple[list[PlacedStrip], bool]]:
    """Yield each band at the top of its own paper, and whether a foot follows: for the last, and each sheet of a long job."""
    for sheet, placed in enumerate(sheets, 1):
        is_footed = sheet == len(sheets) or len(sheets) > _FEW
        levels = [list(items) for _, items in groupby(placed, key=lambda item: item.y)]
        for number, items in enumerate(levels, 1):
            yield [replace(item, y=0.0) for item in items], is_footed and number == len(levels)


def draw_foot(n: int, size: float, y: float, width: float, note: str) -> str:
    """Draw the scale bar on the left, and the note on the right if there is room."""
    body, used, deep = draw_scale_bar(y, n, size, min(44.0, width * 0.35))
    if measure_width(note, size) > width - used - 6:
        return body
    return body + draw_text(width, y + deep - 0.5, note, size, anchor="end", soft=True)


def draw_strips(
    items: Sequence[PlacedStrip], n: int, size: float, width: float, note: str, *, has_foot: bool
) -> tuple[str, float]:
    """Draw the strips at their positions, with a foot if there is one; return their total height too."""
    body = "".join(
        draw_group("strip", item.strip.body, transform=f"translate({format_point(item.x, item.y)})") for item in items
    )
    deep = max((item.y + item.strip.height for item in items), default=0.0)
    if not has_foot:
        return body, deep
    return body + draw_foot(n, size, deep + 3, width, note), deep + calculate_foot_height(size)
