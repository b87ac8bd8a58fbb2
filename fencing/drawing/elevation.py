"""Elevations: every run as built, true to scale, in rows that fit a page or a screen."""

from __future__ import annotations

from fencing.drawing.drawing_context import LETTERING, Scene, make_scene
from fencing.drawing.elevation_rows import TooWide, divide_into_rows
from fencing.drawing.elevation_strip import Strip, calculate_margin, draw_strip
from fencing.drawing.page_layout import (
    PlacedStrip,
    calculate_foot_height,
    divide_into_bands,
    draw_foot,
    draw_placed,
    pack_strips,
)
from fencing.drawing.retrofit_elevation import divide_retrofit, draw_retrofit_strip
from fencing.drawing.scales import STANDARD
from fencing.drawing.svg import write_drawing
from fencing.quantities.take_off import TakeOff

NOTE = "lengths in mm, levels in m above the job's datum; seen from the right of each run"
_SHEETS = 2  # maximum number of sheets for a larger scale
_LARGEST = 25
_SMALLEST = 200  # 1:200 is the smallest scale at which every bay is readable


def draw_elevation_bands(
    takeoff: TakeOff,
    width: float,
    height: float,
    *,
    size: float = LETTERING,
    live: str | None = None,
    prefix: str = "drawing",
    decimal_sign: str = ".",
    most: int = _SHEETS,
    least: int = _LARGEST,
) -> list[str]:
    """Draw elevations of all runs and retrofits, one SVG for each band of rows side by side.

    Rule: the largest standard scale, 1:``least`` or smaller, that takes no more than ``most`` sheets; 1:200 where none does;
    smaller only where a single bay would not fit. Runs break at posts, with match lines. The scale bar stands under the last
    band, and under each sheet of more than two. House rule.

    Args:
        takeoff: the job.
        width: of the paper to draw on [mm].
        height: of a sheet [mm].
        size: lettering [mm].
        live: id of the run, bay, gate or post that is being worked on; the one thing in the accent colour.
        prefix: starts every id in the SVG.
        decimal_sign: the sign before the decimals of its figures.
        most: sheets that are worth a larger scale.
        least: n of the largest scale to use.

    Returns:
        SVG texts in the order of the measure, none for a job with nothing to draw; all at one scale.
    """
    shown = make_scene(takeoff, size, live, prefix, decimal_sign)
    room = height - calculate_foot_height(size)
    for n in (n for n in STANDARD if n >= least):
        if n < _SMALLEST and _estimate_height(shown, n, width) > most * room:
            continue
        try:
            packed = pack_strips(draw_strips(shown, n, width, room), width, room)
        except TooWide:
            continue
        if any(item.strip.height > room for items in packed for item in items):
            continue
        if len(packed) <= most or n >= _SMALLEST:
            return _draw_bands(shown, packed, n, width) if packed[0] else []
    raise ValueError(f"{width} x {height} mm is too small for an elevation")


def draw_elevation(
    takeoff: TakeOff,
    width: float,
    *,
    n: int | None = None,
    size: float = LETTERING,
    live: str | None = None,
    prefix: str = "drawing",
    decimal_sign: str = ".",
) -> str:
    """Draw elevations of the whole job on one sheet of any height, for a page.

    ``n`` asks for a scale 1:n; without it the longest run fills the width, between 1:25 and 1:100. A smaller scale is
    taken where a bay would not fit. Empty for a job with nothing to draw.
    """
    shown = make_scene(takeoff, size, live, prefix, decimal_sign)
    for trial in (trial for trial in STANDARD if trial >= (n or _choose_scale(shown, width))):
        try:
            made = draw_strips(shown, trial, width, None)
        except TooWide:
            continue
        return _draw_sheet(shown, pack_strips(made, width, None)[0], trial, width) if made else ""
    raise ValueError(f"{width} mm is too narrow for an elevation")


def _estimate_height(shown: Scene, n: int, width: float) -> float:
    """Return a lower bound of the height [mm] for any rows, to skip scales that cannot fit."""
    heights = {run.id: run.height for run in shown.takeoff.measure.runs}
    taken = 0.0
    for run in shown.takeoff.runs:
        taken += (run.length / n) * ((heights[run.id] + shown.system.hole.depth) / n + shown.size * 10)
    return taken / width


def _choose_scale(shown: Scene, width: float) -> int:
    longest = max((run.length for run in shown.takeoff.runs), default=0)
    return next((n for n in (25, 50) if longest / n + 2 * calculate_margin(shown, n) <= width), 100)


def draw_strips(shown: Scene, n: int, width: float, height: float | None) -> list[Strip]:
    """Draw every row of the job at 1:n.

    Raises:
        TooWide: a bay or an opening alone is wider than the sheet.
    """
    longest = (width - 2 * calculate_margin(shown, n)) * n
    highest = float("inf") if height is None else max(height - shown.size * 22, shown.size * 4) * n
    made = list[Strip]()
    for run in shown.takeoff.runs:
        made += [draw_strip(shown, row, n, width) for row in divide_into_rows(shown.takeoff, run, longest, highest)]
    for retrofit in shown.takeoff.retrofits:
        side = calculate_margin(shown, n)
        made += [
            draw_retrofit_strip(shown, retrofit, row, n, side, width) for row in divide_retrofit(retrofit, longest)
        ]
    return made


def _draw_bands(shown: Scene, packed: list[list[PlacedStrip]], n: int, width: float) -> list[str]:
    bands = list(divide_into_bands(packed))
    return [
        _draw_sheet(
            shown, items, n, width, f", part {number} of {len(bands)}" if len(bands) > 1 else "", has_foot=has_foot
        )
        for number, (items, has_foot) in enumerate(bands, 1)
    ]


def _draw_sheet(
    shown: Scene, items: list[PlacedStrip], n: int, width: float, part: str = "", *, has_foot: bool = True
) -> str:
    body, deep = draw_placed(items)
    if has_foot:
        body += draw_foot(n, shown.size, deep + 3, width, NOTE)
        deep += calculate_foot_height(shown.size)
    data = f"{len(shown.takeoff.runs)} runs, {len(shown.takeoff.retrofits)} retrofits, true scale 1:{n}; the tables say the same"
    return write_drawing("elevation", width, deep, body, f"Elevation of {shown.takeoff.measure.label}{part}", data)
