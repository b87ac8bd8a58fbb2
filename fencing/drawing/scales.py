"""Standard scales, the scale bar, and positions on paper for chainage and level."""

from __future__ import annotations

from dataclasses import dataclass

from fencing.drawing.lettering import measure_width
from fencing.drawing.svg import draw_group, draw_path, draw_text, trace_box

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


def draw_scale_bar(x: float, y: float, denominator: int, size: float, room: float = 44.0) -> tuple[str, float, float]:
    """Draw the bar with "1:n" before it, its top left at (x, y); return (SVG, width, height) [mm]."""
    stated = f"1:{denominator}"
    lead = measure_width(stated, size * 1.2) + 3
    scale = choose_bar(denominator, room)
    block = scale.step / denominator
    left, deep = x + lead + measure_width("0", size) / 2, 1.4
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
    written += draw_text(x, y + size * 1.3 + deep, stated, size * 1.2, anchor="start", bold=True)
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
        return self.left + (chainage - self.chainage) / self.n

    def y(self, level: float) -> float:
        return self.top + (self.level - level) / self.n
