"""Needed parts: pieces with their locations, counted quantities with their breakdown, and the elements they are counted at."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal


@dataclass(frozen=True, slots=True)
class Piece:
    """Equal pieces: ``count`` of one role, finish and length. ``used_at`` lists bay, post or gate ids; ``width`` is for sheets.

    ``length`` is integer mm and rounded up. ``component`` is None if the system maps no component to the role. ``site`` tells
    the jobs apart that are bought together.
    """

    role: str
    component: str | None
    finish: str | None
    length: int
    width: int | None
    count: int
    used_at: tuple[str, ...]
    site: str = ""


@dataclass(frozen=True, slots=True)
class BreakdownLine:
    """One line of a breakdown: ``count`` elements with ``per_element`` pieces make ``net``."""

    element_type: str
    count: int
    per_element: Decimal
    net: Decimal


@dataclass(frozen=True, slots=True)
class Quantity:
    """Quantity of one component in its sale unit (UN/ECE Rec 20). ``breakdown`` adds up to ``net``; net + allowance = total."""

    role: str
    component: str | None
    finish: str | None
    unit: str
    net: Decimal
    allowance: Decimal
    total: Decimal
    breakdown: tuple[BreakdownLine, ...]


@dataclass(frozen=True, slots=True)
class Concrete:
    """Concrete of all holes in m3: ``net`` is hole less steel plus crown; ``bags`` is None if the yield is not known."""

    holes: int
    net: Decimal
    allowance: Decimal
    total: Decimal
    bags: int | None


PLACES: dict[str, tuple[str, str]] = {
    "bays": ("bay", "bays"),
    "caps": ("cap", "caps"),
    "half caps": ("half cap", "half caps"),
    "pairs": ("pair of channels", "pairs of channels"),
    "pairs stitched": ("pair of channels, stitched", "pairs of channels, stitched"),
    "square posts": ("square post", "square posts"),
    "line posts": ("line post", "line posts"),
    "single posts": ("single post", "single posts"),
    "channels to square posts": ("channel against its square post", "channels against their square posts"),
    "joins to standing posts": ("channel against a standing post", "channels against standing posts"),
    "bottom rails": ("bottom rail", "bottom rails"),
    "middle rails": ("middle rail", "middle rails"),
    "top rails": ("top rail", "top rails"),
    "rail ends": ("rail end", "rail ends"),
    "lattice along the middle rail": ("lattice panel on its middle rail", "lattice panels on their middle rails"),
    "gates": ("gate", "gates"),
    "double gates": ("double gate", "double gates"),
    "gate leaves": ("gate leaf", "gate leaves"),
    "gate frame joints": ("joint of a gate frame", "joints of gate frames"),
    "tops of gate stiles": ("top of a gate stile", "tops of gate stiles"),
    "hinges": ("hinge", "hinges"),
    "lattice along a gate's middle rail": (
        "lattice panel on a gate's middle rail",
        "lattice panels on gates' middle rails",
    ),
    "stiles of lattice-topped leaves": ("stile of a lattice-topped leaf", "stiles of lattice-topped leaves"),
    "retrofitted bays": ("retrofitted bay", "retrofitted bays"),
    "retrofitted posts": ("retrofitted post", "retrofitted posts"),
    "retrofit rails": ("rail under added lattice", "rails under added lattice"),
    "foot of retrofitted lattice": ("foot of an added lattice panel", "feet of added lattice panels"),
    "feet of extensions": ("foot of a post extension", "feet of post extensions"),
    "extensions stitched in pairs": ("pair of neighbouring extensions", "pairs of neighbouring extensions"),
    "holes of square posts": ("hole of a square post", "holes of square posts"),
    "holes of line posts": ("hole of a line post", "holes of line posts"),
    "holes of single posts": ("hole of a single post", "holes of single posts"),
}
"""Name in documents -> (singular, plural)."""
