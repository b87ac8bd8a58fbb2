"""Elevations: every run and retrofit as built, true to scale, in rows that fit a page or a screen."""

from __future__ import annotations

from itertools import pairwise

from fencing.drawing.dimensions import DimensionLabel, DimensionSpan, draw_chain, draw_row, draw_upright
from fencing.drawing.drawing_context import LETTERING, Scene, make_scene
from fencing.drawing.elevation_rows import TooWide, divide_into_rows, find_typical_width
from fencing.drawing.elevation_strip import calculate_margin, draw_heading, draw_strip, make_notice_label
from fencing.drawing.page_layout import (
    STANDARD,
    Frame,
    PlacedStrip,
    Strip,
    calculate_foot_height,
    divide_into_bands,
    draw_strips,
    pack_strips,
)
from fencing.drawing.svg import draw_group, draw_path, make_id, measure_width, trace_box, trace_line, write_drawing
from fencing.drawing.symbols import trace_laths
from fencing.model.fence import Bay, BuiltRetrofit
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
            packed = pack_strips(draw_rows(shown, n, width, room), width, room)
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

    >>> from fencing.model.example_system import ROUND_SIZES, TWO_BAYS
    >>> from fencing.quantities.take_off import take_off
    >>> "true scale 1:50" in draw_elevation(take_off(TWO_BAYS, ROUND_SIZES), 180)
    True
    """
    shown = make_scene(takeoff, size, live, prefix, decimal_sign)
    for trial in (trial for trial in STANDARD if trial >= (n or _choose_scale(shown, width))):
        try:
            made = draw_rows(shown, trial, width, None)
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


def draw_rows(shown: Scene, n: int, width: float, height: float | None) -> list[Strip]:
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
    body, deep = draw_strips(items, n, shown.size, width, NOTE, has_foot=has_foot)
    data = f"{len(shown.takeoff.runs)} runs, {len(shown.takeoff.retrofits)} retrofits, true scale 1:{n}; the tables say the same"
    return write_drawing("elevation", width, deep, body, f"Elevation of {shown.takeoff.measure.label}{part}", data)


_SHOWN = 600  # mm of the existing fence that is drawn if its height is not known


def divide_retrofit(retrofit: BuiltRetrofit, longest: float) -> list[tuple[Bay, ...]]:
    """Return bays in the fewest rows of at most ``longest`` mm.

    Raises:
        TooWide: one bay alone is longer.
    """
    rows, start = list[list[Bay]](), 0
    for bay in retrofit.bays:
        if bay.width > longest:
            raise TooWide(retrofit.id)
        if not rows or bay.end - start > longest:
            rows.append([])
            start = bay.start
        rows[-1].append(bay)
    return [tuple(row) for row in rows]


def draw_retrofit_strip(
    scene: Scene, retrofit: BuiltRetrofit, bays: tuple[Bay, ...], n: int, side: float, room: float
) -> Strip:
    """Draw one row of a retrofit at 1:n: existing parts are dashed, new ones are solid."""
    height = next(item.existing_height for item in scene.takeoff.measure.retrofits if item.id == retrofit.id)
    below = height or _SHOWN
    needed = 2 * side + (bays[-1].end - bays[0].start) / n
    head = draw_heading(
        scene, _write_retrofit_title(scene, retrofit, bays, height), needed, room, live=scene.is_live(retrofit.id)
    )
    width, y, parts = max(needed, head.width), head.height, [head.body]
    places = [(bay.id, (bay.start + bay.end) / 2) for bay in bays]
    places += [(retrofit.id, float(bays[0].start))] * (bays[0] is retrofit.bays[0])
    named = Frame(n, bays[0].start, 0, side, y)
    signs = [make_notice_label(scene, scene.notices[name], named.x(at)) for name, at in places if name in scene.notices]
    body, high = draw_row(signs, 0, width, y, scene.size, below=False, leaders=False)
    parts.append(body)
    frame = Frame(n, bays[0].start, retrofit.lattice_height, side, y + high + 1)
    parts.append(_draw_retrofit(scene, retrofit, bays, frame, below))
    foot = max(frame.y(-below), frame.top + measure_width("00000", scene.size)) + 1.5
    parts.append(_draw_height(scene, frame, retrofit.lattice_height))
    typical = find_typical_width(retrofit.bays)
    spans, is_labelled = list[DimensionSpan](), False
    for bay in bays:
        words = "" if is_labelled and bay.width == typical else str(bay.width)
        is_labelled = is_labelled or bay.width == typical
        spans.append(DimensionSpan(frame.x(bay.start), frame.x(bay.end), words, scene.is_live(bay.id)))
    y = foot
    body, high = draw_chain(spans, width, y, scene.size)
    parts.append(body)
    numbers = [
        DimensionLabel((frame.x(bay.start) + frame.x(bay.end)) / 2, bay.id.removeprefix(f"{retrofit.id}-"))
        for bay in bays
    ]
    body, names = draw_row(numbers, 0, width, y + high, scene.size, below=True, leaders=False)
    return Strip(width, y + high + names + 0.5, "".join([*parts, body]))


def _write_retrofit_title(
    scene: Scene, retrofit: BuiltRetrofit, bays: tuple[Bay, ...], height: int | None
) -> tuple[str, str]:
    name = f"Retrofit {retrofit.id}" + ("" if bays[0] is retrofit.bays[0] else " continued")
    stands = f"{height} high" if height else "height not measured"
    total = scene.format_metres(retrofit.bays[-1].end)
    return name, f"{total} m, {retrofit.lattice_height} lattice on existing fence ({stands})"


def _draw_height(scene: Scene, frame: Frame, lattice: int) -> str:
    words = str(lattice)
    half = measure_width(words, scene.size) / 2
    x, top, bottom = frame.left - 3, frame.y(lattice), frame.y(0)
    return draw_upright(x, top, bottom, words, scene.size, middle=max((top + bottom) / 2, frame.top + half))


def _draw_retrofit(scene: Scene, retrofit: BuiltRetrofit, bays: tuple[Bay, ...], frame: Frame, below: int) -> str:
    overlap = retrofit.extension - retrofit.lattice_height
    face, left, right = scene.system.channel.face, frame.x(bays[0].start), frame.x(bays[-1].end)
    stands = "".join(trace_line(frame.x(at), frame.y(0), frame.x(at), frame.y(-below)) for at in _list_centres(bays))
    stands += trace_line(left, frame.y(0), right, frame.y(0)) + trace_line(
        left, frame.y(-below), right, frame.y(-below)
    )
    parts = [draw_path("existing", stands, "Existing fence")]
    for bay in bays:
        panel = trace_laths(frame, bay.start + face, bay.end - face, (0, 0), bay.lattice_height)
        rail = trace_line(frame.x(bay.start), frame.y(bay.top[0]), frame.x(bay.end), frame.y(bay.top[1]))
        hit = trace_box(frame.x(bay.start), frame.y(bay.top[0]), bay.width / frame.n, bay.lattice_height / frame.n)
        body = draw_path("hit", hit) + draw_path("lattice", panel) + draw_path("edge", rail, live=scene.is_live(bay.id))
        data = f"Bay {bay.id}: {bay.width} mm, lattice {bay.lattice_height} mm"
        parts.append(draw_group("bay", body, data, id=make_id(f"{scene.prefix}-elevation", bay.id), bay=bay.id))
        uprights = "".join(
            trace_box(frame.x(at), frame.y(bay.top[0]), face / frame.n, (bay.lattice_height + overlap) / frame.n)
            for at in (bay.start, bay.end - face)
        )
        parts.append(draw_path("post", uprights, f"Post extensions {retrofit.extension} mm"))
    return "".join(parts)


def _list_centres(bays: tuple[Bay, ...]) -> list[int]:
    return [bays[0].start, *(right.start for _, right in pairwise(bays)), bays[-1].end]
