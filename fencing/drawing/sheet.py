"""Rows set on sheets: beside each other while they fit, then below, then on the next sheet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from fencing.drawing import lettering, scales, svg
from fencing.drawing.strip import Strip

_BESIDE, _UNDER = 5.0, 4.5


@dataclass(frozen=True, slots=True)
class Placed:
    x: float
    y: float
    strip: Strip


def foot_height(size: float) -> float:
    """Paper [mm] the scale bar and the note under the rows take."""
    return size * 1.65 + 1.9 + 3


def pack(strips: Sequence[Strip], width: float, height: float | None) -> list[list[Placed]]:
    """Strips in order on sheets ``width`` by ``height`` mm (None: one sheet as high as need be)."""
    sheets, shelf = list[list[Placed]]([[]]), list[Strip]()
    top = 0.0
    for strip in strips:
        used = sum(item.width + _BESIDE for item in shelf)
        if shelf and used + strip.width > width:
            top += max(item.height for item in shelf) + _UNDER
            shelf = []
            used = 0.0
        if height is not None and sheets[-1] and top + strip.height > height:
            if shelf:  # a higher neighbour than the sheet has room for starts the next sheet
                shelf = []
            sheets.append([])
            top, used = 0.0, 0.0
        sheets[-1].append(Placed(used, top, strip))
        shelf.append(strip)
    return sheets


def foot(n: int, size: float, y: float, width: float, note: str) -> str:
    """Scale bar on the left, note on the right where there is room for it."""
    body, used, deep = scales.bar(0, y, n, size, min(44.0, width * 0.35))
    room = width - used - 6
    return body + svg.text(width, y + deep - 0.5, lettering.fit(note, size, room), size, anchor="end", soft=True)


def drawn(placed: Sequence[Placed]) -> tuple[str, float]:
    """The strips at their places, and how deep they reach."""
    body = "".join(
        svg.group("strip", item.strip.body, transform=f"translate({svg.num(item.x)} {svg.num(item.y)})")
        for item in placed
    )
    return body, max((item.y + item.strip.height for item in placed), default=0.0)
