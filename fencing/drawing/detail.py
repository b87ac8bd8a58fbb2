"""Details at a larger scale for the set-out sheet: a bay between its posts, and a gate leaf from the front."""

from __future__ import annotations

from itertools import pairwise

from fencing.drawing import dimension, lettering, marks, scales, sheet, svg
from fencing.drawing.dimension import Span
from fencing.drawing.frame import Frame
from fencing.drawing.rows import typical_width
from fencing.drawing.scene import LETTERING, Scene, scene
from fencing.fence import Bay, BuiltRun, HungGate, Leaf, Post
from fencing.takeoff import TakeOff

_LARGEST = 20
_SIDE = 20.0  # mm of paper beside the fence for standing dimensions


def typical_bay(run: BuiltRun) -> Bay | None:
    """The first bay of the width that occurs most; None for a run of gates only."""
    width = typical_width(run.bays)
    return next((bay for bay in run.bays if bay.width == width), None)


def bay_detail(takeoff: TakeOff, bay_id: str, width: float, height: float, *, size: float = LETTERING) -> str:
    """One bay between its two posts with the lengths of its rail and sheets, its gap, and its holes.

    Args:
        takeoff: the job.
        bay_id: a bay of one of its runs.
        width: of the paper to draw on [mm].
        height: most height of the paper [mm].
        size: lettering [mm].

    Raises:
        KeyError: no such bay.
    """
    shown = scene(takeoff, size)
    run, bay = next(((run, bay) for run in takeoff.runs for bay in run.bays if bay.id == bay_id), (None, None))
    if run is None or bay is None:
        raise KeyError(bay_id)
    posts = [post for post in run.posts if post.at in (bay.start, bay.end)]
    high = max(member.top for post in posts for member in post.members)
    low = min(post.ground - post.hole_depth for post in posts)
    hole = max(takeoff.system.hole.diameter, takeoff.system.hole.end_diameter)
    n = scales.nearest(
        max((bay.width + hole) / (width - 2 * _SIDE), (high - low) / (height - size * 9 - sheet.foot_height(size))),
        _LARGEST,
    )
    left = _SIDE + hole / 2 / n
    frame = Frame(n, bay.start, high, left, size * 2.4)
    body = svg.text(0, size * 1.2, f"Bay {bay.id}", size * 1.2, anchor="start", bold=True)
    body += _bay_figure(shown, run, bay, posts, frame)
    y, parts = frame.y(low) + 1, list[str]()
    rail = bay.rails[0].length
    inset = (bay.width - rail) / 2 if bay.base[0] == bay.base[1] else 0
    for span in (
        Span(frame.x(bay.start + inset), frame.x(bay.end - inset), str(rail), fuller=f"rail {rail}"),
        Span(frame.x(bay.start), frame.x(bay.end), str(bay.width), fuller=f"{bay.width} hole to hole"),
    ):
        drawn, deep = dimension.chain([span], 0, width, y, size)
        parts.append(drawn)
        y += deep
    foot = sheet.foot(n, size, y + 3, width, _sheets_told(bay))
    total = y + sheet.foot_height(size)
    title = f"Bay {bay.id} between {posts[0].id} and {posts[-1].id}"
    return svg.drawing("detail", width, total, body + "".join(parts) + foot, title, f"Front view, scale 1:{n}")


def _sheets_told(bay: Bay) -> str:
    widths = ", ".join(str(sheet.width) for sheet in bay.sheets)
    return f"sheets {widths} wide, from the left"


def _bay_figure(shown: Scene, run: BuiltRun, bay: Bay, posts: list[Post], frame: Frame) -> str:
    system = shown.system
    bays = {bay.id: bay}
    parts = [marks.hole(frame, post, system.hole) for post in posts]
    corners = [(post.at, post.ground) for post in posts]
    parts.append(marks.ground(frame, corners, 4.0, [post.at for post in posts], system.hole))
    parts.append(svg.group("bay", marks.bay(frame, bay, system, live=False), f"Bay {bay.id}"))
    parts += [marks.post(frame, post, marks.member_edges(post, bays, system), live=False) for post in posts]
    far = max(system.hole.diameter, system.hole.end_diameter) / 2 / frame.n + 2.5
    parts.append(_standing(shown, bay, posts[0], frame, 0, frame.left - far))
    parts.append(_standing(shown, bay, posts[-1], frame, 1, frame.x(bay.end) + far + shown.size * 3.4))
    return "".join(parts)


def _standing(shown: Scene, bay: Bay, post: Post, frame: Frame, side: int, x: float) -> str:
    """Heights at one post: lattice, sheet, gap, hole."""
    levels = [
        bay.top[side],
        bay.top[side] - bay.lattice_height,
        bay.base[side],
        post.ground,
        post.ground - post.hole_depth,
    ]
    spans = [
        Span(frame.y(upper), frame.y(lower), str(upper - lower)) for upper, lower in pairwise(levels) if upper > lower
    ]
    return dimension.ladder(x, spans, frame.top, frame.y(levels[-1]) + shown.size, shown.size)


def leaf_detail(takeoff: TakeOff, gate_id: str, width: float, height: float, *, size: float = LETTERING) -> str:
    """A gate from the front: leaves, hinge heights, the diagonal to check, and the notch of a sheet's corner.

    Raises:
        KeyError: no such gate.
    """
    shown = scene(takeoff, size)
    gate = next((gate for run in takeoff.runs for gate in run.gates if gate.id == gate_id), None)
    if gate is None:
        raise KeyError(gate_id)
    system, leaf = takeoff.system, gate.leaves[0]
    face, notch = system.square.face, 26.0
    across = gate.opening + 2 * face
    n = scales.nearest(
        max(across / (width - 2 * _SIDE - notch - 4), leaf.height / (height - size * 9 - sheet.foot_height(size))),
        _LARGEST,
    )
    frame = Frame(n, gate.start - face, gate.base + leaf.height, _SIDE, size * 2.4)
    words = f"{gate.kind}, opens {gate.opens}" + ("" if gate.kind == "double" else f", hung {gate.hang}")
    body = svg.text(0, size * 1.2, f"Gate {gate.id}", size * 1.2, anchor="start", bold=True)
    after = lettering.width(f"Gate {gate.id}", size * 1.2) + size * 0.7
    body += svg.text(after, size * 1.2, words, size, anchor="start", soft=True)
    body += _gate_figure(shown, gate, frame) + _leaf_heights(shown, gate, frame)
    body += _notches(leaf, frame.x(gate.start + gate.opening + face) + _SIDE, frame.top, size)
    y = frame.y(gate.base) + 1
    leaves = [Span(frame.x(at), frame.x(at + each.width), str(each.width)) for at, each, _ in marks.leaf_places(gate)]
    opening = Span(
        frame.x(gate.start), frame.x(gate.start + gate.opening), str(gate.opening), fuller=f"opening {gate.opening}"
    )
    for spans in (leaves, [opening]):
        drawn, deep = dimension.chain(spans, 0, width, y, size)
        body += drawn
        y += deep
    told = f"equal diagonals {leaf.diagonal}" if len({each.diagonal for each in gate.leaves}) == 1 else _diagonals(gate)
    y = max(y, frame.top + 3 * notch)
    body += sheet.foot(n, size, y + 3, width, told)
    title = f"Gate {gate.id} from the front"
    return svg.drawing("detail", width, y + sheet.foot_height(size), body, title, f"Scale 1:{n}; {told}")


def _diagonals(gate: HungGate) -> str:
    return "diagonals " + ", ".join(str(leaf.diagonal) for leaf in gate.leaves)


def _gate_figure(shown: Scene, gate: HungGate, frame: Frame) -> str:
    face, tall = shown.system.square.face, gate.top - gate.base
    posts = "".join(
        svg.box(frame.x(at), frame.y(gate.top), face / frame.n, tall / frame.n)
        for at in (gate.start - face, gate.start + gate.opening)
    )
    return svg.path("post", posts, "Gate posts") + svg.group("gate", marks.gate(frame, gate, shown.system, live=False))


def _leaf_heights(shown: Scene, gate: HungGate, frame: Frame) -> str:
    """Hinges above the leaf's foot on the left, the leaf, its lattice and the clip on the right."""
    leaf, size = gate.leaves[0], shown.size
    low, high = frame.top, frame.y(gate.base) + size
    foot = frame.y(gate.base)
    x = frame.left - 2.5
    marks_up = [0, *leaf.hinges, leaf.height]
    spans = [
        Span(frame.y(gate.base + upper), frame.y(gate.base + lower), str(upper - lower))
        for lower, upper in pairwise(marks_up)
        if upper > lower
    ]
    drawn = dimension.ladder(x, spans, low, high, size)
    right = frame.x(gate.start + gate.opening + shown.system.square.face) + 2.5 + size * 3.4
    heights = [Span(frame.top, foot, str(leaf.height))]
    if leaf.clip is not None and leaf.lattice:
        rail = leaf.height - leaf.lattice[0].height
        heights = [
            Span(frame.top, frame.y(gate.base + rail), str(leaf.height - rail)),
            Span(frame.y(gate.base + rail), foot, str(rail)),
        ]
    return drawn + dimension.ladder(right, heights, low, high, size)


def _notches(leaf: Leaf, x: float, top: float, size: float) -> str:
    """The corners cut from a sheet, not to scale but in proportion, with their sizes; the clip's height in words."""
    body, y = "", top
    for name, (wide, tall) in (("top corner", leaf.top_notch), ("foot corner", leaf.notch)):
        unit = 9.0 / max(wide, tall)
        w, h = wide * unit, tall * unit
        corner = [
            (x, y + size * 1.3 + h),
            (x, y + size * 1.3 + 13),
            (x + 15, y + size * 1.3 + 13),
            (x + 15, y + size * 1.3),
        ]
        corner += [(x + w, y + size * 1.3), (x + w, y + size * 1.3 + h)]
        body += svg.text(x, y + size, f"{name} {wide} \u00d7 {tall}", size, anchor="start", soft=True)
        body += svg.path(
            "blank", svg.polyline(corner, closed=True), f"Cut {wide} by {tall} mm from each {name} of the sheet"
        )
        y += size * 1.3 + 17
    if leaf.clip is not None:
        body += svg.text(x, y + size, f"clip at {leaf.clip}", size, anchor="start")
    return body
