"""Details at a larger scale for the set-out sheet: a bay between its posts, and the front of a gate leaf."""

from __future__ import annotations

from itertools import pairwise
from math import hypot

from fencing.drawing.dimensions import DimensionSpan, draw_chain, draw_ladder
from fencing.drawing.drawing_context import LETTERING, Scene, make_scene
from fencing.drawing.elevation_rows import find_typical_width
from fencing.drawing.page_layout import Frame, calculate_foot_height, draw_foot, find_scale
from fencing.drawing.svg import (
    draw_group,
    draw_path,
    draw_text,
    measure_width,
    trace_box,
    trace_polyline,
    write_drawing,
)
from fencing.drawing.symbols import (
    draw_bay,
    draw_gate,
    draw_ground,
    draw_hole,
    draw_post,
    find_upright_edges,
    place_leaves,
)
from fencing.model.fence import Bay, BuiltRun, HungGate, Leaf, Post
from fencing.quantities.take_off import TakeOff

_LARGEST = 20
_SIDE = 20.0  # mm of paper beside the fence for vertical dimensions


def find_typical_bay(run: BuiltRun) -> Bay | None:
    """Return the first bay of the most frequent width; None for a run of gates only.

    >>> from fencing.model.example_system import ROUND_SIZES, TWO_BAYS
    >>> from fencing.quantities.take_off import take_off
    >>> find_typical_bay(take_off(TWO_BAYS, ROUND_SIZES).runs[0]).id
    'A-1'
    """
    width = find_typical_width(run.bays)
    return next((bay for bay in run.bays if bay.width == width), None)


def draw_bay_detail(takeoff: TakeOff, bay_id: str, width: float, height: float, *, size: float = LETTERING) -> str:
    """Draw one bay between its two posts with the lengths of its rail and sheets, its gap, and its holes.

    Args:
        takeoff: the job.
        bay_id: a bay of one of its runs.
        width: of the paper to draw on [mm].
        height: most height of the paper [mm].
        size: lettering [mm].

    Raises:
        KeyError: no such bay.
    """
    shown = make_scene(takeoff, size)
    run, bay = next(((run, bay) for run in takeoff.runs for bay in run.bays if bay.id == bay_id), (None, None))
    if run is None or bay is None:
        raise KeyError(bay_id)
    posts = [post for post in run.posts if post.at in (bay.start, bay.end)]
    high = max(member.top for post in posts for member in post.uprights)
    low = min(post.ground - post.hole_depth for post in posts)
    hole = max(takeoff.system.hole.diameter, takeoff.system.hole.end_diameter)
    n = find_scale(
        max((bay.width + hole) / (width - 2 * _SIDE), (high - low) / (height - size * 9 - calculate_foot_height(size))),
        _LARGEST,
    )
    left = _SIDE + hole / 2 / n
    frame = Frame(n, bay.start, high, left, size * 2.4)
    body = draw_text(0, size * 1.2, f"Bay {bay.id}", size * 1.2, anchor="start", bold=True)
    bottom = max(frame.y(low), frame.top + 5 * size * 1.2)
    body += _draw_bay(shown, bay, posts, frame, bottom)
    y, parts = bottom + size * 1.2, list[str]()
    for span in (
        _measure_rail(bay, frame),
        DimensionSpan(frame.x(bay.start), frame.x(bay.end), str(bay.width), fuller=f"{bay.width} hole to hole"),
    ):
        drawn, deep = draw_chain([span], width, y, size)
        parts.append(drawn)
        y += deep
    foot = draw_foot(n, size, y + 3, width, _describe_sheets(bay))
    total = y + calculate_foot_height(size)
    title = f"Bay {bay.id} between {posts[0].id} and {posts[-1].id}"
    return write_drawing("detail", width, total, body + "".join(parts) + foot, title, f"Front view, scale 1:{n}")


def _measure_rail(bay: Bay, frame: Frame) -> DimensionSpan:
    """Return the bottom rail from pocket to pocket, with its length along the run on paper."""
    rail, rise = bay.rails[0].length, bay.base[1] - bay.base[0]
    along = rail * bay.width / hypot(bay.width, rise)
    left = bay.start + (bay.sheets[0].at if bay.sheets else (bay.width - along) / 2)
    return DimensionSpan(frame.x(left), frame.x(left + along), str(rail), fuller=f"rail {rail}")


def _describe_sheets(bay: Bay) -> str:
    widths = [sheet.width for sheet in bay.sheets]
    if len(set(widths)) == 1:
        return f"{len(widths)} sheet{'s' * (len(widths) > 1)} {widths[0]} wide, laid from the left"
    return f"sheets {', '.join(map(str, widths))} wide, laid from the left"


def _draw_bay(shown: Scene, bay: Bay, posts: list[Post], frame: Frame, bottom: float) -> str:
    system = shown.system
    bays = {bay.id: bay}
    parts = [draw_hole(frame, post, system.hole) for post in posts]
    corners = [(post.at, post.ground) for post in posts]
    parts.append(draw_ground(frame, corners, 4.0, [post.at for post in posts], system.hole))
    parts.append(draw_group("bay", draw_bay(frame, bay, system, live=False), f"Bay {bay.id}"))
    parts += [draw_post(frame, post, find_upright_edges(post, bays, system), live=False) for post in posts]
    far = max(system.hole.diameter, system.hole.end_diameter) / 2 / frame.n + 2.5
    parts.append(_draw_heights(shown, bay, posts[0], frame, 0, (frame.left - far, bottom)))
    parts.append(_draw_heights(shown, bay, posts[-1], frame, 1, (frame.x(bay.end) + far + shown.size * 3.4, bottom)))
    return "".join(parts)


def _draw_heights(shown: Scene, bay: Bay, post: Post, frame: Frame, side: int, place: tuple[float, float]) -> str:
    """Draw the heights at one post (lattice, sheet, gap, hole) on a line at x ``place[0]``, words down to y ``place[1]``."""
    levels = [
        bay.top[side],
        bay.top[side] - bay.lattice_height,
        bay.base[side],
        post.ground,
        post.ground - post.hole_depth,
    ]
    spans = [
        DimensionSpan(frame.y(upper), frame.y(lower), str(upper - lower))
        for upper, lower in pairwise(levels)
        if upper > lower
    ]
    return draw_ladder(place[0], spans, frame.top, place[1], shown.size)


def draw_leaf_detail(takeoff: TakeOff, gate_id: str, width: float, height: float, *, size: float = LETTERING) -> str:
    """Draw the front of a gate: leaves, hinge heights, the diagonal to check, and the notch of a sheet's corner.

    Raises:
        KeyError: no such gate.
    """
    shown = make_scene(takeoff, size)
    gate = next((gate for run in takeoff.runs for gate in run.gates if gate.id == gate_id), None)
    if gate is None:
        raise KeyError(gate_id)
    leaf, face = gate.leaves[0], takeoff.system.square.face
    notch = max(measure_width(words, size) for words, _, _ in _list_corners(leaf)) + 4
    beside = width >= 2 * _SIDE + 2 * notch  # on a narrow sheet the notches are below the gate
    room = width - 2 * _SIDE - (notch if beside else 0)
    tall = height - size * 9 - calculate_foot_height(size) - (0 if beside else size * 3 + 17)
    n = find_scale(max((gate.opening + 2 * face) / room, leaf.height / tall), _LARGEST)
    frame = Frame(n, gate.start - face, gate.base + leaf.height, _SIDE, size * 2.4)
    words = f"{gate.kind}, opens {gate.swing}" + ("" if gate.kind == "double" else f", hung {gate.hinge_side}")
    body = draw_text(0, size * 1.2, f"Gate {gate.id}", size * 1.2, anchor="start", bold=True)
    after = measure_width(f"Gate {gate.id}", size * 1.2) + size * 0.7
    body += draw_text(after, size * 1.2, words, size, anchor="start", soft=True)
    bottom = max(frame.y(gate.base), frame.top + 4 * size * 1.2)
    body += _draw_gate(shown, gate, frame) + _draw_leaf_heights(shown, gate, frame, bottom)
    y = bottom + 1
    leaves = [
        DimensionSpan(frame.x(at), frame.x(at + each.width), str(each.width)) for at, each, _ in place_leaves(gate)
    ]
    opening = DimensionSpan(
        frame.x(gate.start), frame.x(gate.start + gate.opening), str(gate.opening), fuller=f"opening {gate.opening}"
    )
    for spans in (leaves, [opening]):
        drawn, deep = draw_chain(spans, width, y, size)
        body += drawn
        y += deep
    data = (
        f"equal diagonals {leaf.diagonal}"
        if len({each.diagonal for each in gate.leaves}) == 1
        else _list_diagonals(gate)
    )
    if beside:
        body += _draw_notches(
            leaf, frame.x(gate.start + gate.opening + face) + _SIDE, frame.top, size, (0, size * 1.3 + 17)
        )
        y = max(y, frame.top + 2 * (size * 1.3 + 17) + size * 1.6)
    else:
        body += _draw_notches(leaf, 0, y + 3, size, (notch, 0))
        y += size * 2.9 + 17
    body += draw_foot(n, size, y + 3, width, data)
    title = f"Gate {gate.id} from the front"
    return write_drawing("detail", width, y + calculate_foot_height(size), body, title, f"Scale 1:{n}; {data}")


def _list_diagonals(gate: HungGate) -> str:
    return "diagonals " + ", ".join(str(leaf.diagonal) for leaf in gate.leaves)


def _draw_gate(shown: Scene, gate: HungGate, frame: Frame) -> str:
    face, tall = shown.system.square.face, gate.top - gate.base
    posts = "".join(
        trace_box(frame.x(at), frame.y(gate.top), face / frame.n, tall / frame.n)
        for at in (gate.start - face, gate.start + gate.opening)
    )
    return draw_path("post", posts, "Gate posts") + draw_group("gate", draw_gate(frame, gate, shown.system, live=False))


def _draw_leaf_heights(shown: Scene, gate: HungGate, frame: Frame, bottom: float) -> str:
    """Draw hinges above the leaf's foot on the left, the leaf, its lattice and the clip on the right."""
    leaf, size = gate.leaves[0], shown.size
    low, high = frame.top, bottom
    foot = frame.y(gate.base)
    x = frame.left - 2.5
    marks_up = [0, *leaf.hinges, leaf.height]
    spans = [
        DimensionSpan(frame.y(gate.base + upper), frame.y(gate.base + lower), str(upper - lower))
        for lower, upper in pairwise(marks_up)
        if upper > lower
    ]
    drawn = draw_ladder(x, spans, low, high, size)
    right = frame.x(gate.start + gate.opening + shown.system.square.face) + 2.5 + size * 3.4
    heights = [DimensionSpan(frame.top, foot, str(leaf.height))]
    if leaf.clip is not None and leaf.lattice:
        rail = leaf.height - leaf.lattice[0].height
        heights = [
            DimensionSpan(frame.top, frame.y(gate.base + rail), str(leaf.height - rail)),
            DimensionSpan(frame.y(gate.base + rail), foot, str(rail)),
        ]
    return drawn + draw_ladder(right, heights, low, high, size)


def _list_corners(leaf: Leaf) -> list[tuple[str, int, int]]:
    """Return (words, width, height) of the corners cut from a sheet."""
    cuts = (("top corner", leaf.top_notch), ("foot corner", leaf.notch))
    return [(f"{name} {wide} \u00d7 {tall}", wide, tall) for name, (wide, tall) in cuts]


def _draw_notches(leaf: Leaf, x: float, y: float, size: float, step: tuple[float, float]) -> str:
    """Draw the corners cut from a sheet, in proportion but not to scale, ``step`` apart; then the clip's height."""
    body = ""
    for words, wide, tall in _list_corners(leaf):
        unit, top = 9.0 / max(wide, tall), y + size * 1.3
        w, h = wide * unit, tall * unit
        outline = [(x, top + h), (x, top + 13), (x + 15, top + 13), (x + 15, top), (x + w, top), (x + w, top + h)]
        body += draw_text(x, y + size, words, size, anchor="start", soft=True)
        body += draw_path("blank", trace_polyline(outline, closed=True), f"Cut from the sheet: {words} mm")
        x, y = x + step[0], y + step[1]
    if leaf.clip is not None:
        words = f"clip at {leaf.clip}"
        clip = (x, y + size) if step[1] else (0.0, y + size * 2.4 + 13.5)
        body += draw_text(*clip, words, size, anchor="start")
    return body
