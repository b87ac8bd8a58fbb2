"""Layout of rows on sheets: beside each other while they fit, then below, then on the next sheet.

What stands side by side is a band. A document takes bands one after the other, so that text and drawings share its pages.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import groupby

from fencing.drawing.elevation_strip import Strip
from fencing.drawing.lettering import measure_width
from fencing.drawing.scales import draw_scale_bar
from fencing.drawing.svg import draw_group, draw_text, format_point

_BESIDE, _UNDER = 5.0, 4.5
_FEW = 2  # sheets that need one scale bar between them


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
    body, used, deep = draw_scale_bar(0, y, n, size, min(44.0, width * 0.35))
    if measure_width(note, size) > width - used - 6:
        return body
    return body + draw_text(width, y + deep - 0.5, note, size, anchor="end", soft=True)


def draw_placed(placed: Sequence[PlacedStrip]) -> tuple[str, float]:
    """Return the strips at their positions, and their total height."""
    body = "".join(
        draw_group("strip", item.strip.body, transform=f"translate({format_point(item.x, item.y)})") for item in placed
    )
    return body, max((item.y + item.strip.height for item in placed), default=0.0)
