"""Set-out strips for the crew: every hole on its string line with its running chainage from the tape's zero.

gates                              G1 opening 1000
posts             P1            P2          P3
holes, from above (=)-----------(+)---------(+)
pitch              |--- 2400 ---|--- 1060 ---|       centre to centre, gates too
running            0.030        2.430         3.490
"""

from __future__ import annotations

from collections import Counter

from fencing.drawing.dimensions import DimensionLabel, DimensionSpan, draw_chain, draw_row
from fencing.drawing.drawing_context import Scene, find_measured_run, make_scene
from fencing.drawing.elevation_rows import ElevationRow, TooWide, divide_into_rows
from fencing.drawing.elevation_strip import calculate_margin, draw_heading, shorten_post_name
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
from fencing.drawing.svg import draw_group, draw_path, make_id, trace_circle, trace_line, write_drawing
from fencing.drawing.symbols import Track, find_upright_edges, trace_section
from fencing.model.fence import BuiltRun, HungGate
from fencing.model.measure import MeasureBasis
from fencing.quantities.take_off import TakeOff

WET_HAND = 3.6  # mm: lettering that is read at arm's length
_NOTE = "running figures in m from zero, others centre to centre in mm"


def draw_set_out_bands(
    takeoff: TakeOff,
    width: float,
    height: float,
    *,
    size: float = WET_HAND,
    prefix: str = "drawing",
    decimal_sign: str = ".",
) -> list[str]:
    """Draw set-out strips of every run: an SVG ``width`` by at most ``height`` mm for each band side by side.

    Rule: 1:50 where the longest run fits one row, otherwise 1:100; smaller only where a bay would not fit. The
    scale bar stands under the last band, and under each sheet of more than two. House rule.
    """
    shown = make_scene(takeoff, size, None, prefix, decimal_sign)
    room = height - calculate_foot_height(size)
    longest = max((built.length for built in takeoff.runs), default=0)
    least = 50 if longest / 50 + 2 * calculate_margin(shown, 50) <= width else 100
    for n in (n for n in STANDARD if n >= least):
        try:
            longest_row = (width - 2 * calculate_margin(shown, n)) * n
            rows = [
                row for built in takeoff.runs for row in divide_into_rows(takeoff, built, longest_row, float("inf"))
            ]
            strips = [_draw_strip(shown, row, n, width) for row in rows]
        except TooWide:
            continue
        if all(strip.height <= room for strip in strips):
            bands = list(divide_into_bands(pack_strips(strips, width, room)))
            return [
                _draw_sheet(shown, items, n, width, number, len(bands), has_foot=has_foot)
                for number, (items, has_foot) in enumerate(bands, 1)
            ]
    raise ValueError(f"{width} x {height} mm is too small for a set-out strip")


def _draw_sheet(
    shown: Scene, items: list[PlacedStrip], n: int, width: float, number: int, of: int, *, has_foot: bool
) -> str:
    body, deep = draw_strips(items, n, shown.size, width, _NOTE, has_foot=has_foot)
    count = f", part {number} of {of}" if of > 1 else ""
    title = f"Set-out of {shown.takeoff.measure.label}{count}"
    data = f"Holes on their string line, scale 1:{n}; the set-out table lists the same"
    return write_drawing("set-out", width, deep, body, title, data)


def _draw_strip(shown: Scene, row: ElevationRow, n: int, room: float) -> Strip:
    side = calculate_margin(shown, n)
    needed = 2 * side + (row.end - row.start) / n
    head = draw_heading(shown, _write_title(shown, row), needed, room, live=shown.is_live(row.run.id))
    width, y, parts = max(needed, head.width), head.height, [head.body]
    frame = Frame(n, row.start, 0, side, 0)
    openings, tall = draw_row(_label_openings(shown, row, frame), 0, width, y, shown.size, below=False, leaders=False)
    y += tall
    above, high = draw_row(_label_posts(shown, row, frame), 0, width, y, shown.size, below=False)
    holes, deep = _draw_holes(shown, row, n, side, y + high)
    y += high + deep
    spans = [
        DimensionSpan(frame.x(bay.start), frame.x(bay.end), str(bay.width), shown.is_live(bay.id)) for bay in row.bays
    ]
    for gate in row.gates:
        left, right = _find_centres(row, gate)
        spans.append(DimensionSpan(frame.x(left), frame.x(right), str(right - left), shown.is_live(gate.id)))
    pitch, tall = draw_chain(spans, width, y, shown.size)
    y += tall
    running = [
        DimensionLabel(frame.x(post.at), shown.format_metres(post.at), bold=True, live=shown.is_live(post.id))
        for post in row.posts
    ]
    chainages, last = draw_row(running, 0, width, y, shown.size, below=True)
    return Strip(width, y + last + 0.5, "".join([*parts, openings, above, holes, pitch, chainages]))


def _write_title(shown: Scene, row: ElevationRow) -> tuple[str, str]:
    run, measure = row.run, find_measured_run(shown.takeoff, row.run)
    if not row.starts:
        return f"Run {run.id} continued", f"{shown.format_metres(row.start)} to {shown.format_metres(row.end)} m"
    zero = "centre" if measure.basis is MeasureBasis.CENTRES else "outer face"
    holes = f"{len(run.posts)} holes {_find_usual_depth(run)} deep"
    return f"Run {run.id}", f"{shown.format_metres(run.length)} m, {holes}, zero at the first post's {zero}"


def _find_usual_depth(run: BuiltRun) -> int:
    """Return the most frequent hole depth of a run, of equals the deepest."""
    counted = Counter(post.hole_depth for post in run.posts)
    return max(counted, key=lambda depth: (counted[depth], depth))


def _label_posts(shown: Scene, row: ElevationRow, frame: Frame) -> list[DimensionLabel]:
    """Label posts by name; and the depth of a hole if it differs from the usual one in the title."""
    usual = _find_usual_depth(row.run)
    return [
        DimensionLabel(
            frame.x(post.at),
            shorten_post_name(row.run.id, post.id, shown.size),
            bold=post.kind == "square",
            live=shown.is_live(post.id),
            under="" if post.hole_depth == usual else f"{post.hole_depth} deep",
        )
        for post in row.posts
    ]


def _label_openings(shown: Scene, row: ElevationRow, frame: Frame) -> list[DimensionLabel]:
    """Label gates by name with their clear openings, which are narrower than from hole to hole."""
    return [
        DimensionLabel(
            frame.x(sum(_find_centres(row, gate)) / 2),
            f"{gate.id} opening {gate.opening}",
            live=shown.is_live(gate.id),
            soft=True,
        )
        for gate in row.gates
    ]


def _find_centres(row: ElevationRow, gate: HungGate) -> tuple[int, int]:
    """Return the chainages of the centres of a gate's two posts."""
    places = {post.id: post.at for post in row.run.posts}
    return places[gate.posts[0]], places[gate.posts[1]]


def _draw_holes(shown: Scene, row: ElevationRow, n: int, left: float, top: float) -> tuple[str, float]:
    """Draw holes from above on the string line, the post to scale in each, a cross on its centre."""
    rules = shown.system.hole
    radius = max(rules.diameter, rules.end_diameter) / 2 / n
    track = Track(n, left, top + radius + 0.4, origin=row.start)
    bays = {bay.id: bay for bay in row.run.bays}
    parts = [draw_path("match", track.trace_line((row.start, 0), (row.end, 0)), "String line")]
    for post in row.posts:
        x, y = track.locate(post.at)
        cross = trace_line(x - radius - 0.8, y, x + radius + 0.8, y) + trace_line(
            x, y - radius - 0.4, x, y + radius + 0.8
        )
        cut = trace_section(track, find_upright_edges(post, bays, shown.system), 0.3)
        body = draw_path("hole", trace_circle(x, y, radius)) + draw_path("dim", cross)
        body += draw_path("section", cut, live=shown.is_live(post.id))
        title = f"Hole of post {post.id} at {post.at} mm, {post.hole_depth} mm deep, {rules.diameter} mm wide"
        # a post at a match line is drawn in both rows, so the row is part of the symbol's name
        name = make_id(f"{shown.prefix}-hole-{row.run.id}-{row.start}", post.id)
        parts.append(draw_group("dig", body, title, id=name, post=post.id))
    return "".join(parts), 2 * radius + 1.2
