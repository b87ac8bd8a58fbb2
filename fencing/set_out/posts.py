"""Posts: what stands at each hole, how long each member is, and what comes out of which stock length."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from fencing.model.faults import Level, Notice
from fencing.model.fence import Post, Upright
from fencing.model.system import Hole, PostSection, System


@dataclass(frozen=True, slots=True)
class UnsizedPost:
    """A post before its members are sized: ``channels`` are (bay id, top level) of the bays beside it, left first.

    ``top`` is the highest thing beside the post, a gate included [mm above datum].
    """

    id: str
    at: int
    kind: str
    ground: int
    top: int
    channels: tuple[tuple[str, int], ...]


def size_upright(section: str, spec: PostSection, hole: Hole, top: int, ground: int, bay: str | None) -> Upright:
    """Size one member of a post.

    Rule: needed length = top - ground + least embedment; the smallest stock that serves. What is over goes deeper as far as the
    hole less its bedding allows; the rest is trimmed. Without a long enough stock the longest is used and less of it is below
    ground; one that would not even reach the ground is given its full needed length and no stock.

    Args:
        section: "square" or "channel".
        spec: stock lengths and least embedment [mm].
        hole: depth and bedding [mm].
        top: where the member is cut flush [mm above datum].
        ground: level of the ground at the post [mm above datum].
        bay: the bay a channel belongs to.

    Example: a 1500 fence 50 above ground in a 600 hole with 50 bedding takes a 2100 post (common practice):

        >>> from fencing.model.system import HoleShape
        >>> hole = Hole(600, 280, HoleShape.STRAIGHT, 280, 50, 0)
        >>> size_upright("channel", PostSection(34, 6, 550, (1800, 2100), 300), hole, 1550, 0, "A-1")
        Member(section='channel', bay='A-1', top=1550, length=2100, stock=2100, embedment=550)
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


def build_post(upright: UnsizedPost, system: System) -> Post:
    """The post at one hole: a square member where its kind is square, and a channel for every bay beside it [mm].

    Source: common practice.

    Example: 1850 above ground and 600 below come from 2700, which reach no deeper than the hole of 650 less 50 of bedding:

        >>> from fencing.model.example_system import ROUND_SIZES
        >>> post = build_post(UnsizedPost("A-P1", 0, "square", 0, 1850, (("A-1", 1850),)), ROUND_SIZES)
        >>> [(member.section, member.length, member.stock) for member in post.members]
        [('square', 2450, 2700), ('channel', 2450, 2700)]
    """
    members: list[Upright] = []
    if upright.kind == "square":
        members.append(size_upright("square", system.square, system.hole, upright.top, upright.ground, None))
    for bay, top in upright.channels:
        members.append(size_upright("channel", system.channel, system.hole, top, upright.ground, bay))
    return Post(upright.id, upright.at, upright.kind, upright.ground, system.hole.depth, tuple(members))


def inspect(posts: Iterable[Post], system: System) -> list[Notice]:
    """A stop for every post that no stock length is long enough for; its text says what is needed [mm].

    Source: house rule.

    Example: 2500 above ground and 600 below are more than the longest stock of 3000:

        >>> from fencing.model.example_system import ROUND_SIZES
        >>> tall = build_post(UnsizedPost("A-P1", 0, "square", 0, 2500, ()), ROUND_SIZES)
        >>> [notice.text[:53] for notice in inspect([tall], ROUND_SIZES)]
        ['needs a square post of 3100 mm, the longest stock is ']
    """
    notices = list[Notice]()
    for post in posts:
        for member in post.members:
            spec = system.square if member.section == "square" else system.channel
            needed = member.top - post.ground + spec.embedment_min
            if needed > spec.stock[-1]:
                text = f"needs a {member.section} post of {needed} mm, the longest stock is {spec.stock[-1]} mm"
                if member.stock is not None:
                    text += f": only {member.embedment} mm would be below ground, at least {spec.embedment_min} mm is needed"
                notices.append(Notice("post.short", Level.STOP, post.id, text))
                break
    return notices


def ids(run: str, count: int, first: str | None = None) -> Sequence[str]:
    """Post ids along a run of ``count`` posts [1 or more]; ``first`` is the id of a corner that the run before already has.

    Source: house rule.

    >>> ids("B", 3, "A-P9")
    ['A-P9', 'B-P2', 'B-P3']
    """
    return [first if first and not index else f"{run}-P{index + 1}" for index in range(count)]
