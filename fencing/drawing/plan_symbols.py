"""Symbols in plan: post sections, gate leaves with their swing, on a run in any direction."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import cos, radians, sin

from fencing.drawing.elevation_symbols import Edges, place_leaves
from fencing.drawing.label_placement import LabelBox
from fencing.drawing.svg import draw_path, format_number, format_point, trace_line, trace_polyline
from fencing.model.fence import HungGate
from fencing.model.system import System


@dataclass(frozen=True, slots=True)
class Track:
    """A run in plan at 1:n: ``origin`` is at (x0, y0), in direction ``heading``, degrees clockwise from the right."""

    n: float
    x0: float
    y0: float
    heading: float = 0.0
    origin: float = 0.0

    def at(self, chainage: float, right: float = 0.0) -> tuple[float, float]:
        """Return the point at ``chainage``, ``right`` mm of ground to the right in walking direction."""
        along, angle = (chainage - self.origin) / self.n, radians(self.heading)
        across = right / self.n
        return self.x0 + along * cos(angle) - across * sin(angle), self.y0 + along * sin(angle) + across * cos(angle)

    def line(self, first: tuple[float, float], last: tuple[float, float]) -> str:
        """Return path data between two (chainage, right) points."""
        return trace_line(*self.at(*first), *self.at(*last))

    def slab(self, left: float, right: float, deep: float, centre: float = 0.0) -> str:
        """Return path data of a rectangle from chainage ``left`` to ``right``, ``deep`` mm of ground across the line."""
        half = deep / 2
        corners = [(left, centre - half), (right, centre - half), (right, centre + half), (left, centre + half)]
        return trace_polyline([self.at(*corner) for corner in corners], closed=True)


def trace_section(track: Track, edges: Sequence[Edges], least: float = 0.55) -> str:
    """Return path data of a post's cut uprights, true size; at least ``least`` mm of paper, so that they are visible."""
    data = ""
    for _, left, right in edges:
        middle, half = (left + right) / 2, max(right - left, least * track.n) / 2
        data += track.slab(middle - half, middle + half, max(right - left, least * track.n))
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
        leaves += track.line(swing.hinge, swing.open)
        start, end, radius = track.at(*swing.shut), track.at(*swing.open), format_number(leaf.width / track.n)
        sweep = 1 if swing.clockwise else 0
        arcs += f"M{format_point(start[0], start[1])}A{radius} {radius} 0 0 {sweep} {format_point(end[0], end[1])}"
    shut = track.line((gate.start, 0), (gate.start + gate.opening, 0))
    return draw_path("hit", shut) + draw_path("swing", arcs, live=live) + draw_path("edge", leaves, live=live)


def find_obstacle(track: Track, gate: HungGate, inward: int, system: System) -> LabelBox:
    """Return the rectangle that a gate's swing takes on paper."""
    deep = max(leaf.width for leaf in gate.leaves) + system.square.face
    side = inward if gate.swing == "in" else -inward
    x, y = track.at(gate.start + gate.opening / 2, side * deep / 2)
    return LabelBox(x, y, gate.opening / track.n, deep / track.n, track.heading)


def describe_gate(gate: HungGate) -> str:
    """Describe a gate."""
    return f"Gate {gate.id}: {gate.kind}, opening {gate.opening} mm, opens {gate.swing}" + (
        "" if gate.kind == "double" else f", hung {gate.hinge_side}"
    )
