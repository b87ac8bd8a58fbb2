"""Posts and their holes: the uprights at each hole with their stock lengths, and the concrete around them."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import floor, pi

from fencing.model.faults import Notice, Severity
from fencing.model.fence import Post, Upright
from fencing.model.system import Hole, HoleShape, PostSection, System


@dataclass(frozen=True, slots=True)
class UnsizedPost:
    """A post before its uprights are sized. ``channels`` are (bay id, top level) of the bays beside it, left first.

    ``top`` is the highest top of the bays and gates beside the post [mm above datum].
    """

    id: str
    at: int
    kind: str
    ground: int
    top: int
    channels: tuple[tuple[str, int], ...]


def size_upright(section: str, spec: PostSection, hole: Hole, top: int, ground: int, bay: str | None) -> Upright:
    """Size one upright of a post.

    Rule: needed length = top - ground + minimum embedment; take the smallest stock length that is enough. A surplus goes
    deeper, as far as the hole less its bedding allows; the rest is trimmed. If no stock is long enough, take the longest, with
    less embedment. If even that does not reach the ground, give the full needed length and no stock.

    Args:
        section: "square" or "channel".
        spec: stock lengths and minimum embedment [mm].
        hole: depth and bedding [mm].
        top: level at which the upright is cut flush [mm above datum].
        ground: level of the ground at the post [mm above datum].
        bay: the bay of a channel.

    Example: a 1500 fence 50 above ground in a 600 hole with 50 bedding takes a 2100 post (common practice):

        >>> from fencing.model.system import HoleShape
        >>> hole = Hole(600, 280, HoleShape.STRAIGHT, 280, 50, 0)
        >>> size_upright("channel", PostSection(34, 6, 550, (1800, 2100), 300), hole, 1550, 0, "A-1")
        Upright(section='channel', bay='A-1', top=1550, length=2100, stock=2100, embedment=550)
    """
    above = top - ground
    needed = above + spec.embedment_min
    index = bisect_left(spec.stock, needed)
    if index < len(spec.stock):
        stock = spec.stock[index]
        deeper = min(stock - needed, max(0, hole.depth - hole.bedding - spec.embedment_min))
        return Upright(section, bay, top, needed + deeper, stock, spec.embedment_min + deeper)
    longest = spec.stock[-1]
    if longest > above:
        return Upright(section, bay, top, longest, longest, longest - above)
    return Upright(section, bay, top, needed, None, spec.embedment_min)


def build_post(post: UnsizedPost, system: System) -> Post:
    """Build the post at one hole: a square upright if its kind is square, and a channel for every bay beside it [mm].

    Source: common practice.

    Example: 1850 above ground and 600 below come from 2700; the hole of 650 less 50 of bedding allows no more depth:

        >>> from fencing.model.example_system import ROUND_SIZES
        >>> post = build_post(UnsizedPost("A-P1", 0, "square", 0, 1850, (("A-1", 1850),)), ROUND_SIZES)
        >>> [(upright.section, upright.length, upright.stock) for upright in post.uprights]
        [('square', 2450, 2700), ('channel', 2450, 2700)]
    """
    uprights: list[Upright] = []
    if post.kind == "square":
        uprights.append(size_upright("square", system.square, system.hole, post.top, post.ground, None))
    for bay, top in post.channels:
        uprights.append(size_upright("channel", system.channel, system.hole, top, post.ground, bay))
    return Post(post.id, post.at, post.kind, post.ground, system.hole.depth, tuple(uprights))


def inspect_posts(posts: Iterable[Post], system: System) -> list[Notice]:
    """Return a stop notice for every post that is longer than the longest stock length [mm].

    Source: house rule.

    Example: 2500 above ground and 600 below are more than the longest stock of 3000:

        >>> from fencing.model.example_system import ROUND_SIZES
        >>> tall = build_post(UnsizedPost("A-P1", 0, "square", 0, 2500, ()), ROUND_SIZES)
        >>> [notice.text[:53] for notice in inspect_posts([tall], ROUND_SIZES)]
        ['needs a square post of 3100 mm, the longest stock is ']
    """
    notices = list[Notice]()
    for post in posts:
        for upright in post.uprights:
            spec = system.square if upright.section == "square" else system.channel
            needed = upright.top - post.ground + spec.embedment_min
            if needed > spec.stock[-1]:
                text = f"needs a {upright.section} post of {needed} mm, the longest stock is {spec.stock[-1]} mm"
                if upright.stock is not None:
                    text += f": only {upright.embedment} mm would be below ground, at least {spec.embedment_min} mm is needed"
                notices.append(Notice("post.short", Severity.STOP, post.id, text))
                break
    return notices


def name_posts(run: str, count: int, first: str | None = None) -> Sequence[str]:
    """Return the ids of a run's ``count`` posts [1 or more]; ``first`` is the id of a corner shared with another run.

    Source: house rule.

    >>> name_posts("B", 3, "A-P9")
    ['A-P9', 'B-P2', 'B-P3']
    """
    return [first if first and not index else f"{run}-P{index + 1}" for index in range(count)]


def calculate_hole_volume(depth: int, top: int, bottom: int) -> float:
    """Return the volume [mm3] of a straight, belled or flared hole: a frustum of a cone.

    Args:
        depth: depth of the hole [mm].
        top: diameter at the ground [mm].
        bottom: diameter at the bottom [mm].

    Source: solid geometry. A hole of 300 by 600 holds 0.042412 m3 (the published check for a straight hole):

        >>> round(calculate_hole_volume(600, 300, 300) / 1e9, 6)
        0.042412
    """
    return pi * depth * (top * top + top * bottom + bottom * bottom) / 12


def calculate_crown_volume(mouth: int, height: int) -> float:
    """Return the volume [mm3] of the crown that sheds water: a cone on top of the hole. Source: house rule.

    >>> round(calculate_crown_volume(280, 25))
    513127
    """
    return pi * mouth * mouth * height / 12


def find_diameters(system: System) -> tuple[int, int]:
    """Return the (top, bottom) diameters of the system's holes [mm]. Source: the system.

    >>> from dataclasses import replace
    >>> from fencing.model.example_system import ROUND_SIZES
    >>> belled = replace(ROUND_SIZES.hole, shape=HoleShape.BELLED, end_diameter=450)
    >>> find_diameters(replace(ROUND_SIZES, hole=belled))
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


def calculate_post_concrete(post: Post, system: System) -> int:
    """Return the concrete [mm3, half-up] in one post's hole: hole less embedded steel plus crown.

    The steel displaces only its own area: a hollow section that is open at its foot fills with concrete.

    Source: solid geometry; house rule for the crown.

    Example: 650 mm of 300 across hold 45945793 mm3, 600 mm of two channels of 300 mm2 take 360000, the crown adds 706858:

        >>> from fencing.model.fence import Upright
        >>> from fencing.model.example_system import ROUND_SIZES
        >>> pair = tuple(Upright("channel", bay, 1850, 2450, 2700, 600) for bay in ("A-1", "A-2"))
        >>> calculate_post_concrete(Post("A-P2", 2400, "line", 0, 650, pair), ROUND_SIZES)
        46292651
    """
    top, bottom = find_diameters(system)
    areas = {"square": system.square.steel_area, "channel": system.channel.steel_area}
    steel = sum(areas[upright.section] * upright.embedment for upright in post.uprights)
    volume = (
        calculate_hole_volume(post.hole_depth, top, bottom) - steel + calculate_crown_volume(top, system.hole.crown)
    )
    return max(0, floor(volume + 0.5))
