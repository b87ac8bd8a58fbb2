"""One row of an elevation: the run from above, the fence, its dimensions, all over the same chainage.

title          Run A  18.240 m, stepped ...
from above     [=====+=====+===  /|===+=====]
names, levels        gate     notices    +1.860
fence           |_____|_____|___|  |__|_____|
ground          ///V//////V////////V//////V//
bays            |-----|-----|---|--|--|-----|
run             |---------------------------|
posts           P1    P2    P3 ...  with ground levels
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from fencing.drawing.dimensions import DimensionLabel, DimensionSpan, draw_chain, draw_row, draw_upright
from fencing.drawing.drawing_context import Scene, find_gravest, find_measured_run
from fencing.drawing.elevation_rows import ElevationRow
from fencing.drawing.page_layout import Frame, Strip
from fencing.drawing.svg import (
    draw_group,
    draw_path,
    draw_text,
    fit_words,
    make_id,
    measure_width,
    trace_circle,
    trace_line,
    trace_polyline,
)
from fencing.drawing.symbols import (
    Track,
    describe_gate,
    draw_bay,
    draw_existing_fence,
    draw_gate,
    draw_ground,
    draw_hole,
    draw_post,
    draw_swings,
    draw_wall,
    find_swings,
    find_upright_edges,
    trace_section,
)
from fencing.model.faults import Notice, Severity
from fencing.model.fence import Bay, Post
from fencing.model.measure import MeasureBasis, Terminal

_STUB = 6.0  # mm of paper of an existing fence or a wall beside the run


def calculate_margin(scene: Scene, n: int) -> float:
    """Return the paper [mm] left and right of a row for adjacent objects and for the height."""
    hole = max(scene.system.hole.diameter, scene.system.hole.end_diameter) / 2 / n
    return max(hole, _STUB) + 1.5 + scene.size * 1.35 + 0.8


def draw_notice_mark(x: float, base: float, size: float, severity: Severity, title: str) -> str:
    """Draw an octagon for must-fix, a triangle for a warning or a circle for a note: distinct without colour, before numbers."""
    r = size * 0.46
    cx, cy = x + r, base - r * 0.85
    match severity:
        case Severity.STOP:
            c = r * 0.414
            corners = [(-c, -r), (c, -r), (r, -c), (r, c), (c, r), (-c, r), (-r, c), (-r, -c)]
            shape = draw_path("block", trace_polyline([(cx + u, cy + v) for u, v in corners], closed=True), title)
        case Severity.WARNING:
            data = trace_polyline([(cx - r, cy + r * 0.85), (cx, cy - r), (cx + r, cy + r * 0.85)], closed=True)
            shape = draw_path("notice", data, title)
        case _:
            shape = draw_path("notice", trace_circle(cx, cy, r * 0.85), title)
    return draw_group(f"mark g-{severity.value}", shape)


def make_notice_label(scene: Scene, notices: list[tuple[int, Notice]], x: float) -> DimensionLabel:
    """Label the notices of one location with their numbers, after the symbol of the most serious one."""
    data = " ".join(f"{number}: {notice.text}." for number, notice in notices)
    words = ", ".join(str(number) for number, _ in notices)
    draw: Callable[[float, float], str] = partial(
        draw_notice_mark, size=scene.size, severity=find_gravest(notices), title=data
    )
    return DimensionLabel(x, words, bold=True, sign=scene.size * 1.15, mark=draw)


def draw_strip(scene: Scene, row: ElevationRow, n: int, room: float) -> Strip:
    """Draw one row at 1:n, at most ``room`` mm wide: a title that is too long is shortened."""
    side = calculate_margin(scene, n)
    needed = 2 * side + (row.end - row.start) / n
    head = draw_heading(scene, _write_title(scene, row), needed, room, live=scene.is_live(row.run.id))
    width, y, parts = max(needed, head.width), head.height, [head.body]
    for make in (_draw_from_above, _draw_names, _draw_tops):
        body, height = make(scene, row, Frame(n, row.start, 0, side, y), width)
        parts.append(body)
        y += height
    low, high = row.find_levels()
    frame = Frame(n, row.start, high, side, y + 0.6)
    parts.append(_draw_fence(scene, row, frame))
    standing = ["0000", *(_describe_match(scene, row, post) for post in (row.posts[0], row.posts[-1]))]
    tall = max(measure_width(words, scene.size) for words in standing[: 1 if row.whole else 3])
    y = max(frame.y(low), frame.top + tall) + 1.0
    parts.append(_draw_ends(scene, row, frame, y - 1.0))
    for make in (_draw_bay_dimensions, _draw_run_dimension, _draw_posts):
        body, height = make(scene, row, Frame(n, row.start, 0, side, y), width)
        parts.append(body)
        y += height
    return Strip(width, y + 0.5, "".join(parts))


def _write_title(scene: Scene, row: ElevationRow) -> tuple[str, str]:
    run, measure = row.run, find_measured_run(scene.takeoff, row.run)
    name = f"Run {run.id}" + ("" if row.starts else " continued")
    if not row.starts:
        return name, f"{scene.format_metres(row.start)} to {scene.format_metres(row.end)} m"
    lattice = f", {measure.lattice} of it lattice" if measure.lattice else ""
    bays = f"{len(run.bays)} bay" + ("s" if len(run.bays) != 1 else "")
    words = f"{scene.format_metres(run.length)} m, {run.form.value}, {measure.height} high{lattice}, {bays}"
    return name, words


def draw_heading(scene: Scene, title: tuple[str, str], needed: float, room: float, *, live: bool) -> Strip:
    """Draw a row's name and description: on one line if the row below (``needed`` mm) is as wide, otherwise on two."""
    size = scene.size * 1.2
    name = fit_words(title[0], size, room - 1)
    words = fit_words(title[1], scene.size, room - 1)
    after, wide = measure_width(name, size) + scene.size * 0.7, measure_width(words, scene.size)
    written = draw_text(0, size, name, size, anchor="start", bold=True, live=live)
    if after + wide + 0.5 <= needed:
        written += draw_text(after, size, words, scene.size, anchor="start", soft=True)
        return Strip(after + wide + 0.5, scene.size * 2.1, written)
    written += draw_text(0, size + scene.size * 1.35, words, scene.size, anchor="start", soft=True)
    return Strip(max(after, wide) + 0.5, scene.size * 3.4, written)


def shorten_post_name(run: str, post: str, size: float) -> str:
    """Return a post's name within its run; a corner's own long name is shortened at the start.

    >>> shorten_post_name("A", "A-P3", 2.7), shorten_post_name("Rear boundary", "Side boundary-P7", 2.7)
    ('P3', '\u2026P7')
    """
    name = post.removeprefix(f"{run}-")
    return name if measure_width(name, size) <= 5 * size else f"\u2026{name.rpartition('-')[2]}"


def _draw_from_above(scene: Scene, row: ElevationRow, frame: Frame, width: float) -> tuple[str, float]:
    """Draw the run from above at the same scale, the viewer's side below."""
    inward = scene.inside[row.run.id]
    deep = [(swing.open[1] / frame.n) for gate in row.gates for swing in find_swings(gate, inward)]
    half = max(scene.system.square.face / 2 / frame.n, 0.5)
    up, down = max(half, -min(deep, default=0.0)), max(half, max(deep, default=0.0))
    track = Track(frame.n, frame.left, frame.top + up, origin=row.start)
    bays = {bay.id: bay for bay in row.run.bays}
    lines = "".join(track.trace_line((bay.start, 0), (bay.end, 0)) for bay in row.bays)
    cut = "".join(trace_section(track, find_upright_edges(post, bays, scene.system), 0.3) for post in row.posts)
    gates = "".join(
        draw_group("gate", draw_swings(track, gate, inward, scene.is_live(gate.id)), describe_gate(gate), gate=gate.id)
        for gate in row.gates
    )
    body = draw_path("edge", lines) + gates + draw_path("section", cut)
    return draw_group("above", body, f"Run {row.run.id} from above"), up + down + 1.2


def _draw_names(scene: Scene, row: ElevationRow, frame: Frame, width: float) -> tuple[str, float]:
    """Label gates by name, and notices at their bay, gate or post."""
    labels = list[DimensionLabel]()
    for gate in row.gates:
        middle = frame.x(gate.start + gate.opening / 2)
        labels.append(DimensionLabel(middle, gate.id, bold=True, live=scene.is_live(gate.id)))
    places = [(bay.id, (bay.start + bay.end) / 2) for bay in row.bays]
    places += [(gate.id, gate.start + gate.opening / 2) for gate in row.gates]
    places += [(post.id, float(post.at)) for post in row.posts]
    places += [(row.run.id, float(row.start))] * row.starts
    labels += [
        make_notice_label(scene, scene.notices[name], frame.x(at)) for name, at in places if name in scene.notices
    ]
    return draw_row(labels, 0, width, frame.top, scene.size, below=False, leaders=False)


def _draw_tops(scene: Scene, row: ElevationRow, frame: Frame, width: float) -> tuple[str, float]:
    """Label the level of the top of the fence, again only where it changes."""
    points, last = list[tuple[float, int]](), None
    for bay in row.bays:
        for at, top in zip((bay.start, bay.end), bay.top, strict=True):
            if top != last:
                points.append((at, top))
            last = top
    labels = [DimensionLabel(frame.x(at), scene.format_level(top), soft=True) for at, top in points]
    return draw_row(labels, 0, width, frame.top, scene.size, below=False)


def _draw_fence(scene: Scene, row: ElevationRow, frame: Frame) -> str:
    """Draw holes first, earth over them, then bays, gates and posts, each a group that can be tapped."""
    system = scene.system
    bays = {bay.id: bay for bay in row.run.bays}
    parts = ["".join(draw_hole(frame, post, system.hole) for post in row.posts)]
    parts.append(draw_ground(frame, row.ground, 3.0, [post.at for post in row.posts], system.hole))
    for bay in row.bays:
        body = draw_bay(frame, bay, system, scene.is_live(bay.id))
        name = make_id(f"{scene.prefix}-elevation", bay.id)
        parts.append(draw_group("bay", body, describe_bay(scene, bay), id=name, bay=bay.id))
    for gate in row.gates:
        body = draw_gate(frame, gate, system, scene.is_live(gate.id))
        name = make_id(f"{scene.prefix}-elevation", gate.id)
        parts.append(draw_group("gate", body, describe_gate(gate), id=name, gate=gate.id))
    parts += [
        draw_post(frame, post, find_upright_edges(post, bays, system), scene.is_live(post.id)) for post in row.posts
    ]
    return "".join(parts)


def describe_bay(scene: Scene, bay: Bay) -> str:
    """Describe a bay."""
    slope = f", slope {scene.format_figure(f'{bay.slope:.2f}')}°" if bay.slope else ""
    step = f", step {bay.step} mm" if bay.step else ""
    return f"Bay {bay.id}: {bay.width} mm, {bay.form.value}{step}{slope}, ground gap {bay.gap_min} to {bay.gap_max} mm"


def _draw_ends(scene: Scene, row: ElevationRow, frame: Frame, bottom: float) -> str:
    """Draw the objects at the ends: the height of the fence, a wall, an existing fence, or the match line of a divided run."""
    measure = find_measured_run(scene.takeoff, row.run)
    return _draw_end(scene, row, frame, bottom, -1, measure.start if row.starts else None) + _draw_end(
        scene, row, frame, bottom, 1, measure.end if row.ends else None
    )


def _draw_end(
    scene: Scene, row: ElevationRow, frame: Frame, bottom: float, outward: int, terminal: Terminal | None
) -> str:
    post = row.posts[0] if outward < 0 else row.posts[-1]
    x = frame.x(post.at)
    far = x + outward * (calculate_margin(scene, frame.n) - scene.size * 1.35 - 0.8)
    if outward > 0:
        far += scene.size * 1.35
    if terminal is None:
        shown = fit_words(_describe_match(scene, row, post), scene.size, bottom - frame.top)
        line = draw_path(
            "match", trace_line(x, frame.top - 1, x, bottom), f"Match line at {scene.format_metres(post.at)} m"
        )
        at = x + outward * 4.2 + (scene.size * 0.75 if outward > 0 else 0)
        return line + draw_text(at, (frame.top + bottom) / 2, shown, scene.size, turn=-90, soft=True)
    top, base = _find_end_levels(row, post, outward)
    body = _draw_terminal(scene, frame, post, terminal, outward, (top, base))
    y_top, y_base = frame.y(top), frame.y(base)
    words = str(top - base)
    half = measure_width(words, scene.size) / 2
    middle = min(max((y_top + y_base) / 2, frame.top + half), bottom - half)
    return body + draw_upright(far, y_top, y_base, words, scene.size, middle=middle)


def _describe_match(scene: Scene, row: ElevationRow, post: Post) -> str:
    return f"match {shorten_post_name(row.run.id, post.id, scene.size)}"


def _find_end_levels(row: ElevationRow, post: Post, outward: int) -> tuple[int, int]:
    """Return (top, base) of the object at an end: a bay, otherwise a gate."""
    side = 0 if outward < 0 else 1
    bay = row.bays[0 if outward < 0 else -1] if row.bays else None
    if bay and (bay.start, bay.end)[side] == post.at:
        return bay.top[side], bay.base[side]
    gate = row.gates[0 if outward < 0 else -1]
    return gate.top, gate.base


def _draw_terminal(
    scene: Scene, frame: Frame, post: Post, terminal: Terminal, outward: int, lines: tuple[int, int]
) -> str:
    face = scene.system.square.face if post.kind == "square" else scene.system.channel.face
    x = frame.x(post.at + outward * face / 2)
    if terminal is Terminal.WALL:
        return draw_wall(x, frame.y(lines[0]) - 0.5, frame.y(post.ground - 150), outward)
    if terminal is Terminal.JOIN:
        return draw_existing_fence(x, frame.y(lines[0]), frame.y(lines[1]), outward * (_STUB - 0.5))
    return ""


def _draw_bay_dimensions(scene: Scene, row: ElevationRow, frame: Frame, width: float) -> tuple[str, float]:
    """Draw bay widths: the typical one once in each row, other ones always; openings between their posts' inner faces."""
    spans, typical_said = list[DimensionSpan](), False
    for bay in row.bays:
        words, fuller, live = str(bay.width), "", scene.is_live(bay.id)
        if bay.width == row.typical and len(row.run.bays) > 1:
            words, fuller = ("", "") if typical_said and not live else (words, f"{bay.width} typ.")
            typical_said = True
        spans.append(DimensionSpan(frame.x(bay.start), frame.x(bay.end), words, live, fuller))
    for gate in row.gates:
        ends = frame.x(gate.start), frame.x(gate.start + gate.opening)
        spans.append(DimensionSpan(*ends, str(gate.opening), scene.is_live(gate.id), f"opening {gate.opening}"))
    return draw_chain(spans, width, frame.top, scene.size)


def _draw_run_dimension(scene: Scene, row: ElevationRow, frame: Frame, width: float) -> tuple[str, float]:
    """Draw the dimension of the whole run on its tape, or of the part that this row shows."""
    run, measure = row.run, find_measured_run(scene.takeoff, row.run)
    start = 0 if row.starts else row.start
    end = run.length if row.ends else row.end
    over = "overall" if measure.basis is MeasureBasis.OUTSIDE_FACES else "between centres"
    words = f"{scene.format_metres(end - start)} m"
    fuller = f"{words} {over}" if row.starts and row.ends else f"{words} of {scene.format_metres(run.length)} m"
    span = DimensionSpan(frame.x(start), frame.x(end), words, scene.is_live(run.id), fuller)
    return draw_chain([span], width, frame.top, scene.size)


def _draw_posts(scene: Scene, row: ElevationRow, frame: Frame, width: float) -> tuple[str, float]:
    """Label posts by name, with the level of the ground at each."""
    labels = [
        DimensionLabel(
            frame.x(post.at),
            shorten_post_name(row.run.id, post.id, scene.size),
            bold=post.kind == "square",
            live=scene.is_live(post.id),
            under=scene.format_level(post.ground),
        )
        for post in row.posts
    ]
    return draw_row(labels, 0, width, frame.top, scene.size, below=True)
