"""Holes: their volume and their concrete."""

from __future__ import annotations

from math import floor, pi

from fencing.model.fence import Post
from fencing.model.system import HoleShape, System


def hole_volume(depth: int, top: int, bottom: int) -> float:
    """Return the volume [mm3] of a straight, belled or flared hole: a frustum of a cone.

    Args:
        depth: depth of the hole [mm].
        top: diameter at the ground [mm].
        bottom: diameter at the bottom [mm].

    Source: solid geometry. A hole of 300 by 600 holds 0.042412 m3 (the published check for a straight hole):

        >>> round(hole_volume(600, 300, 300) / 1e9, 6)
        0.042412
    """
    return pi * depth * (top * top + top * bottom + bottom * bottom) / 12


def crown_volume(mouth: int, height: int) -> float:
    """Return the volume [mm3] of the crown that sheds water: a cone on top of the hole. Source: house rule.

    >>> round(crown_volume(280, 25))
    513127
    """
    return pi * mouth * mouth * height / 12


def diameters(system: System) -> tuple[int, int]:
    """Return the (top, bottom) diameters of the system's holes [mm]. Source: the system.

    >>> from dataclasses import replace
    >>> from fencing.model.example_system import ROUND_SIZES
    >>> belled = replace(ROUND_SIZES.hole, shape=HoleShape.BELLED, end_diameter=450)
    >>> diameters(replace(ROUND_SIZES, hole=belled))
    (300, 450)
    """
    hole = system.hole
    match hole.shape:
        case HoleShape.STRAIGHT:
            return hole.diameter, hole.diameter
        case HoleShape.BELLED:
            return hole.diameter, hole.end_diameter
        case HoleShape.FLARED:
            return hole.end_diameter, hole.diameter


def concrete(post: Post, system: System) -> int:
    """Return the concrete [mm3, half-up] in one post's hole: hole less embedded steel plus crown.

    The steel displaces only its own area: a hollow section that is open at its foot fills with concrete.

    Source: solid geometry; house rule for the crown.

    Example: 650 mm of 300 across hold 45945793 mm3, 600 mm of two channels of 300 mm2 take 360000, the crown adds 706858:

        >>> from fencing.model.fence import Upright
        >>> from fencing.model.example_system import ROUND_SIZES
        >>> pair = tuple(Upright("channel", bay, 1850, 2450, 2700, 600) for bay in ("A-1", "A-2"))
        >>> concrete(Post("A-P2", 2400, "line", 0, 650, pair), ROUND_SIZES)
        46292651
    """
    top, bottom = diameters(system)
    areas = {"square": system.square.steel_area, "channel": system.channel.steel_area}
    steel = sum(areas[upright.section] * upright.embedment for upright in post.uprights)
    volume = hole_volume(post.hole_depth, top, bottom) - steel + crown_volume(top, system.hole.crown)
    return max(0, floor(volume + 0.5))
