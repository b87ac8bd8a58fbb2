"""Singular and plural names of the elements at which parts are counted. Documents use the plural."""

from __future__ import annotations

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
