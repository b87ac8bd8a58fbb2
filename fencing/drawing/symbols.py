"""Symbols at true scale, in elevation and in plan: posts, holes, rails, sheets, lattice, gates, ground, walls."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import cos, radians, sin

from fencing.drawing.label_placement import LabelBox
from fencing.drawing.page_layout import Frame
from fencing.drawing.svg import (
    draw_group,
    draw_path,
    format_number,
    format_point,
    trace_box,
    trace_circle,
    trace_line,
    trace_polyline,
)
from fencing.model.fence import Bay, HungGate, Leaf, Pair, Post, Upright
from fencing.model.system import Hole, HoleShape, System

Edges = tuple[Upright, float, float]


def find_upright_edges(post: Post, bays: Mapping[str, Bay], system: System) -> list[Edges]:
    """Return (upright, left, right chainage) of every upright of a post that this run shows; ``bays`` are the run's, by id.

    A channel beside its bay reaches from the post's centre, or from the square's face, into the bay; one that stands alone is
    centred. At a corner the channels of the other run are left to its own drawing.
    """
    half, face = system.square.face / 2, system.channel.face
    edges = list[Edges]()
    for member in post.uprights:
        if member.section == "square":
            edges.append((member, post.at - half, post.at + half))
        elif post.kind == "single":
            edges.append((member, post.at - face / 2, post.at + face / 2))
        elif member.bay is not None and member.bay in bays:
            core = half if post.kind == "square" else 0
            rightward = bays[member.bay].start == post.at
            near, far = (core, core + face) if rightward else (-core - face, -core)
            edges.append((member, post.at + near, post.at + far))
    return edges


def draw_post(frame: Frame, standing: Post, edges: Sequence[Edges], live: bool) -> str:
    """Draw the uprights of a post to their own tops, dashed below ground."""
    above, below = "", ""
    for member, left, right in edges:
        x, width = frame.x(left), (right - left) / frame.n
        ground, top, foot = frame.y(standing.ground), frame.y(member.top), frame.y(member.top - member.length)
        above += trace_box(x, top, width, ground - top)
        if foot > ground:
            below += trace_line(x, ground, x, foot) + f"H{format_number(x + width)}V{format_number(ground)}"
    body = draw_path("buried", below) + draw_path("post", above, live=live)
    tops = ", ".join(f"{member.section} to {member.top} mm" for member in standing.uprights)
    title = f"Post {standing.id}: {standing.kind} at {standing.at} mm, ground {standing.ground} mm, {tops}"
    return draw_group("standing", body, title, post=standing.id, at=str(standing.at))


def draw_hole(frame: Frame, standing: Post, rules: Hole) -> str:
    """Draw the hole to its depth in its shape, crown above ground, bedding line under the post."""
    x, ground = frame.x(standing.at), frame.y(standing.ground)
    mouth = rules.end_diameter if rules.shape is HoleShape.FLARED else rules.diameter
    toe = rules.end_diameter if rules.shape is HoleShape.BELLED else rules.diameter
    bottom = frame.y(standing.ground - standing.hole_depth)
    wide, narrow = mouth / 2 / frame.n, toe / 2 / frame.n
    crown = rules.crown / frame.n
    outline = [(x - wide, ground), (x, ground - crown), (x + wide, ground), (x + narrow, bottom), (x - narrow, bottom)]
    bedding = bottom - rules.bedding / frame.n
    title = f"Hole of {standing.id}: {standing.hole_depth} mm deep, {rules.diameter} mm wide"
    body = draw_path("hole", trace_polyline(outline, closed=True), title)
    return body + draw_path("bedding", trace_line(x - narrow, bedding, x + narrow, bedding))


def draw_ground(frame: Frame, corners: Sequence[Pair], reach: float, holes: Sequence[int], rules: Hole) -> str:
    """Draw the ground line, extended level by ``reach`` mm of paper at both ends, with earth hatching except in holes."""
    points = [(frame.x(at), frame.y(level)) for at, level in corners]
    points = [(points[0][0] - reach, points[0][1]), *points, (points[-1][0] + reach, points[-1][1])]
    half = max(rules.diameter, rules.end_diameter) / 2 / frame.n
    mouths, here = [(frame.x(hole) - half, frame.x(hole) + half + 1.2) for hole in holes], 0
    strokes, step, at = list[str](), 1.9, points[0][0] + 1.6
    for (x1, y1), (x2, y2) in pairwise(points):
        while at <= x2 and x2 > x1:
            y = y1 + (y2 - y1) * (at - x1) / (x2 - x1)
            while here < len(mouths) and mouths[here][1] < at:
                here += 1
            if here == len(mouths) or at < mouths[here][0]:
                strokes.append(f"M{format_point(at, y)}l-1.2 1.2")
            at += step
    return draw_path("earth", "".join(strokes)) + draw_path("ground", trace_polyline(points), "Ground")


def _interpolate(pair: Pair, share: float) -> float:
    return pair[0] + (pair[1] - pair[0]) * share


def _trace_ribs(frame: Frame, bay: Bay, system: System) -> tuple[str, str]:
    """Return path data of the ribs and of the laps of a bay's sheets."""
    width = bay.width
    last = width - system.channel.setback
    pitch = next(
        (system.sheets.cover / parts for parts in (4, 2) if system.sheets.cover / parts / frame.n >= 1.5), None
    )
    ribs, laps = "", ""
    for number, sheet in enumerate(bay.sheets):
        right = min(sheet.at + sheet.width, last)
        if number:
            laps += _trace_rib(frame, bay, sheet.at)
        at = sheet.at + pitch if pitch else right
        while pitch and at < right - system.sheets.lap:
            ribs += _trace_rib(frame, bay, at)
            at += pitch
    return ribs, laps


def _trace_rib(frame: Frame, bay: Bay, at: float) -> str:
    x, share = frame.x(bay.start + at), at / bay.width
    top = frame.y(_interpolate(bay.top, share) - bay.lattice_height)
    return f"M{format_number(x)} {format_number(frame.y(_interpolate(bay.base, share)))}V{format_number(top)}"


def trace_laths(frame: Frame, start: float, end: float, foot: tuple[float, float], height: float) -> str:
    """Return path data of crossed laths over a panel with its foot from ``foot[0]`` to ``foot[1]`` [mm above datum]."""
    width = end - start
    pitch = max(90.0, 1.3 * frame.n)

    def point(along: float, up: float) -> tuple[float, float]:
        return frame.x(start + along), frame.y(foot[0] + (foot[1] - foot[0]) * along / width + up)

    data, offset = list[str](), -height + pitch / 2
    while offset < width:
        low, high = max(0.0, offset), min(width, offset + height)
        data.append(trace_line(*point(low, low - offset), *point(high, high - offset)))
        data.append(trace_line(*point(width - low, low - offset), *point(width - high, high - offset)))
        offset += pitch
    return "".join(data)


def draw_bay(frame: Frame, built: Bay, system: System, live: bool) -> str:
    """Draw everything between two posts: rails, sheets with light lines, crossed lattice."""
    left, right = frame.x(built.start), frame.x(built.end)
    base = (frame.y(built.base[0]), frame.y(built.base[1]))
    top = (frame.y(built.top[0]), frame.y(built.top[1]))
    ribs, laps = _trace_ribs(frame, built, system)
    rails = trace_line(left, base[0], right, base[1]) + trace_line(left, top[0], right, top[1])
    crossed = ""
    if built.lattice_height:
        foot = (built.top[0] - built.lattice_height, built.top[1] - built.lattice_height)
        rails += trace_line(left, frame.y(foot[0]), right, frame.y(foot[1]))
        crossed = trace_laths(frame, built.start, built.end, foot, built.lattice_height)
    outline = trace_polyline([(left, base[0]), (left, top[0]), (right, top[1]), (right, base[1])], closed=True)
    return (
        draw_path("hit", outline)
        + draw_path("rib", ribs)
        + draw_path("lap", laps)
        + draw_path("lattice", crossed)
        + draw_path("edge", rails, live=live)
    )


def place_leaves(gate: HungGate) -> list[tuple[float, Leaf, bool]]:
    """Return (chainage of its left edge, leaf, whether its hinges are on the left) per leaf, with equal clearances."""
    spare = (gate.opening - sum(leaf.width for leaf in gate.leaves)) / (len(gate.leaves) + 1)
    places, at = list[tuple[float, Leaf, bool]](), gate.start + spare
    for number, leaf in enumerate(gate.leaves):
        places.append((at, leaf, number == 0 if len(gate.leaves) == 2 else gate.hinge_side == "left"))
        at += leaf.width + spare
    return places


def draw_gate(frame: Frame, hung: HungGate, system: System, live: bool) -> str:
    """Draw each leaf: frame, rails, sheet laps, the diagonal to check, hinges on its post and the latch opposite."""
    parts = list[str]()
    for at, built, left in place_leaves(hung):
        parts.append(draw_leaf(frame, at, hung.base, built, system.gates.stile, left, live))
    return "".join(parts)


def draw_leaf(frame: Frame, at: float, base: int, built: Leaf, stile: int, hung_left: bool, live: bool) -> str:
    """Draw one leaf with its left edge at chainage ``at`` and its foot at ``base``."""
    x, y = frame.x, frame.y
    right, top = at + built.width, base + built.height
    outer = trace_box(x(at), y(top), built.width / frame.n, built.height / frame.n)
    inner = trace_box(
        x(at + stile), y(top - stile), (built.width - 2 * stile) / frame.n, (built.height - 2 * stile) / frame.n
    )
    laps = "".join(
        trace_line(x(at + sheet.at), y(base + stile), x(at + sheet.at), y(base + sheet.left))
        for sheet in built.sheets[1:]
    )
    crossed, middle = "", ""
    if built.lattice:
        foot = top - built.lattice[0].height
        middle = trace_line(x(at + stile), y(foot), x(right - stile), y(foot))
        crossed = trace_laths(frame, at + stile, right - stile, (foot, foot), built.lattice[0].height - stile)
    low, high = (at, right) if hung_left else (right, at)
    brace = trace_line(x(low), y(base), x(high), y(top))
    hinges = "".join(trace_box(x(low) - 0.7, y(base + height) - 0.8, 1.4, 1.6) for height in built.hinges)
    latch = trace_circle(x(high - (60 if hung_left else -60)), y(base + min(1000, built.height // 2)), 0.6)
    return (
        draw_path("gate", outer + inner, live=live)
        + draw_path("lap", laps)
        + draw_path("lattice", crossed)
        + draw_path("edge", middle)
        + draw_path("brace", brace, f"Equal diagonals {built.diagonal} mm")
        + draw_path("hinge", hinges, "Hinges")
        + draw_path("edge", latch, "Latch")
    )


def draw_wall(x: float, top: float, bottom: float, outward: int) -> str:
    """Draw a wall's face at ``x`` with its hatch on the far side (``outward`` -1 to the left, 1 to the right)."""
    strokes, at = list[str](), top
    while at + 1.6 <= bottom:
        strokes.append(f"M{format_point(x, at)}l{format_number(outward * 1.6)} 1.6")
        at += 1.6
    return draw_path("wallhatch", "".join(strokes)) + draw_path("wall", trace_line(x, top, x, bottom), "Wall")


def draw_existing_fence(x: float, top: float, bottom: float, reach: float) -> str:
    """Draw the existing fence, broken off after ``reach`` mm of paper (negative: to the left)."""
    end = x + reach
    data = trace_line(x, top, end, top) + trace_line(x, bottom, end, bottom)
    return draw_path("existing", data, "Existing fence")


@dataclass(frozen=True, slots=True)
class Track:
    """A run in plan at 1:n: ``origin`` is at (x0, y0), in direction ``heading``, degrees clockwise from the right."""

    n: float
    x0: float
    y0: float
    heading: float = 0.0
    origin: float = 0.0

    def locate(self, chainage: float, right: float = 0.0) -> tuple[float, float]:
        """Return the point at ``chainage``, ``right`` mm of ground to the right in walking direction."""
        along, angle = (chainage - self.origin) / self.n, radians(self.heading)
        across = right / self.n
        return self.x0 + along * cos(angle) - across * sin(angle), self.y0 + along * sin(angle) + across * cos(angle)

    def trace_line(self, first: tuple[float, float], last: tuple[float, float]) -> str:
        """Return path data between two (chainage, right) points."""
        return trace_line(*self.locate(*first), *self.locate(*last))

    def trace_slab(self, left: float, right: float, deep: float) -> str:
        """Return path data of a rectangle from chainage ``left`` to ``right``, ``deep`` mm of ground across the line."""
        half = deep / 2
        corners = [(left, -half), (right, -half), (right, half), (left, half)]
        return trace_polyline([self.locate(*corner) for corner in corners], closed=True)


def trace_section(track: Track, edges: Sequence[Edges], least: float = 0.55) -> str:
    """Return path data of a post's cut uprights, true size; at least ``least`` mm of paper, so that they are visible."""
    data = ""
    for _, left, right in edges:
        middle, half = (left + right) / 2, max(right - left, least * track.n) / 2
        data += track.trace_slab(middle - half, middle + half, max(right - left, least * track.n))
    return data


@dataclass(frozen=True, slots=True)
class Swing:
    """A leaf in the open position: hinge and free end as (chainage, right), and the free end when shut."""

    hinge: tuple[float, float]
    open: tuple[float, float]
    shut: tuple[float, float]
    clockwise: bool


def find_swings(gate: HungGate, inward: int) -> list[Swing]:
    """Return each leaf opened square to the fence; ``inward`` is 1 if the inside is on the walker's right, -1 on the left."""
    side = inward if gate.swing == "in" else -inward
    opened = list[Swing]()
    for at, leaf, left in place_leaves(gate):
        hinge, free = (at, at + leaf.width) if left else (at + leaf.width, at)
        opened.append(Swing((hinge, 0.0), (hinge, side * leaf.width), (free, 0.0), clockwise=(side > 0) == left))
    return opened


def draw_swings(track: Track, gate: HungGate, inward: int, live: bool) -> str:
    """Draw leaves open at a right angle with the arc of their free end."""
    leaves, arcs = "", ""
    for swing, leaf in zip(find_swings(gate, inward), gate.leaves, strict=True):
        leaves += track.trace_line(swing.hinge, swing.open)
        start, end, radius = track.locate(*swing.shut), track.locate(*swing.open), format_number(leaf.width / track.n)
        sweep = 1 if swing.clockwise else 0
        arcs += f"M{format_point(start[0], start[1])}A{radius} {radius} 0 0 {sweep} {format_point(end[0], end[1])}"
    shut = track.trace_line((gate.start, 0), (gate.start + gate.opening, 0))
    return draw_path("hit", shut) + draw_path("swing", arcs, live=live) + draw_path("edge", leaves, live=live)


def find_obstacle(track: Track, gate: HungGate, inward: int, system: System) -> LabelBox:
    """Return the rectangle that a gate's swing takes on paper."""
    deep = max(leaf.width for leaf in gate.leaves) + system.square.face
    side = inward if gate.swing == "in" else -inward
    x, y = track.locate(gate.start + gate.opening / 2, side * deep / 2)
    return LabelBox(x, y, gate.opening / track.n, deep / track.n, track.heading)


def describe_gate(gate: HungGate) -> str:
    """Describe a gate."""
    return f"Gate {gate.id}: {gate.kind}, opening {gate.opening} mm, opens {gate.swing}" + (
        "" if gate.kind == "double" else f", hung {gate.hinge_side}"
    )
