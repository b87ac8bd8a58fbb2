"""Screws, caps and small parts: counted place by place while posts, bays and gates are walked.

Rules: docs/rules.md, "Posts, caps, screws, concrete".
"""

from __future__ import annotations

from fencing.model.fence import Bay, BuiltRetrofit, HungGate, Leaf, Post
from fencing.model.measure import Colours
from fencing.model.rounding import round_up
from fencing.model.system import Screws, System
from fencing.quantities.tally import Tally


def stitches(length: int, spacing: int) -> int:
    """Screws down ``length`` [mm], one at either end, at no more than ``spacing`` [mm]. Source: common practice.

    A 1500 pair, 50 above ground, first 100 below the top, last 100 above ground: 1350 mm in 5 spaces of 270.

    >>> stitches(1350, 280)
    6
    >>> stitches(0, 280)
    1
    """
    return round_up(max(length, 0), spacing) + 1


def stitch_post(top: int, ground: int, screws: Screws) -> int:
    """Screws that stitch a pair (or a channel to a square post) whose lower top is at ``top`` [mm above datum].

    Source: common practice; the distances are the system's.

    Example: 1850 above ground, 100 left free at either end: 1650 mm in 6 spaces of 275, the most being 300:

        >>> from fencing.model.example_system import ROUND_SIZES
        >>> stitch_post(1850, 0, ROUND_SIZES.screws)
        7
    """
    return stitches(top - screws.pair_from_top - ground - screws.pair_above_ground, screws.pair_spacing_max)


def finish(colours: Colours, part: str) -> str | None:
    """The finish of a part, by the fall-backs of ``Colours`` [its name, or None]. Source: house rule.

    >>> finish(Colours(post="inkstone", rail="oatgrass"), "lattice")
    'oatgrass'
    """
    named: str | None = getattr(colours, part)
    fallback = {"lattice": "rail", "cap": "post", "screw": "rail", "gate": "post"}
    return named if named is not None or part not in fallback else getattr(colours, fallback[part])


def count_post(tally: Tally, post: Post, colours: Colours, system: System, *, joined: bool) -> None:
    """Members [mm], cap and stitching of one post, into the tally.

    Args:
        tally: what is added to.
        post: as it stands.
        colours: finishes of its run.
        system: the fence system.
        joined: whether it is a single channel fixed to a standing steel fence.

    Source: docs/rules.md, "Posts, caps, screws, concrete".

    Example: a line post is two channels, one cap on two screws, stitched by seven:

        >>> from fencing.model.fence import Member
        >>> from fencing.model.example_system import ROUND_SIZES
        >>> pair = tuple(Member("channel", bay, 1850, 2450, 2700, 600) for bay in ("A-1", "A-2"))
        >>> tally = Tally()
        >>> count_post(tally, Post("A-P2", 2400, "line", 0, 650, pair), Colours(), ROUND_SIZES, joined=False)
        >>> [(row.role, int(row.net)) for row in tally.reasons_in_order()]
        [('post.channel', 2), ('cap.pair', 1), ('screw', 9)]
    """
    colour, cap, screw = finish(colours, "post"), finish(colours, "cap"), finish(colours, "screw")
    channels = [member for member in post.members if member.section == "channel"]
    for member in post.members:
        tally.piece(f"post.{member.section}", colour, member.length, post.id, f"{post.kind} posts")
    per_cap, half = system.screws.per_cap, round_up(system.screws.per_cap, 2)
    if post.kind == "square":
        tally.count("cap.square", cap, "square posts")
        tally.count("screw", screw, "caps", each=per_cap)
        for member in channels:
            number = stitch_post(member.top, post.ground, system.screws)
            tally.count("screw", screw, "channels to square posts", each=number)
        return
    tops = {member.top for member in channels}
    if post.kind == "line":
        tally.count("screw", screw, "pairs stitched", each=stitch_post(min(tops), post.ground, system.screws))
    elif joined:
        tally.count("screw", screw, "joins to standing posts", each=stitch_post(min(tops), post.ground, system.screws))
    if post.kind == "line" and len(tops) == 1:
        tally.count("cap.pair", cap, "pairs")
        tally.count("screw", screw, "caps", each=per_cap)
    else:
        tally.count("screw", screw, "half caps", len(channels), half)


def half_caps(post: Post) -> int:
    """How many half caps a post takes: two on a stepped pair, one on a single channel, else none [pieces].

    Source: common practice.

    >>> from fencing.model.fence import Member
    >>> high, low = (Member("channel", "A-1", top, 2400, 2400, 550) for top in (1850, 1750))
    >>> half_caps(Post("A-P2", 0, "line", 0, 650, (high, low))), half_caps(Post("A-P2", 0, "line", 0, 650, (high, high)))
    (2, 0)
    """
    if post.kind == "square":
        return 0
    return 0 if post.kind == "line" and len({member.top for member in post.members}) == 1 else len(post.members)


def count_bay(tally: Tally, bay: Bay, colours: Colours, system: System) -> None:
    """Rails, sheets, lattice of one bay [mm], and the screws that hold them, into the tally.

    Source: docs/rules.md, "Posts, caps, screws, concrete".

    Example: two rails have four ends, each on two screws:

        >>> from fencing.model.example_system import ROUND_SIZES, TWO_BAYS
        >>> from fencing.quantities.take_off import take_off
        >>> tally = Tally()
        >>> count_bay(tally, take_off(TWO_BAYS, ROUND_SIZES).runs[0].bays[0], Colours(), ROUND_SIZES)
        >>> [(row.role, int(row.net)) for row in tally.reasons_in_order()]
        [('rail', 2), ('sheet', 3), ('screw', 8)]
    """
    rail, screw = finish(colours, "rail"), finish(colours, "screw")
    for piece in bay.rails:
        tally.piece("rail", rail, piece.length, bay.id, f"{piece.place} rails")
    for sheet in bay.sheets:
        tally.piece("sheet", finish(colours, "sheet"), sheet.blank, bay.id, "bays", sheet.width)
    for panel in bay.lattice:
        tally.piece("lattice", finish(colours, "lattice"), panel.length, bay.id, "bays", panel.height)
        tally.count("screw", screw, "lattice along the middle rail", each=system.screws.per_lattice)
    tally.count("screw", screw, "rail ends", 2 * len(bay.rails), system.screws.per_rail_end)


def count_gate(tally: Tally, gate: HungGate, hardware: tuple[str, ...], colours: Colours, system: System) -> None:
    """Parts [mm], furniture and screws of one gate, into the tally; two leaves always take a drop bolt.

    Source: docs/rules.md, "Gates".

    Example: hinges come with a leaf, the latch because it was asked for:

        >>> from fencing.set_out.gates import hang
        >>> from fencing.set_out.ground import Ground
        >>> from fencing.model.measure import Gate, GateKind
        >>> from fencing.model.example_system import ROUND_SIZES
        >>> hung = hang(Gate("A-G1", 3000, 1000, GateKind.SINGLE, 1800), ("A-P2", "A-P3"), Ground((0,), (0,)), ROUND_SIZES)
        >>> tally = Tally()
        >>> count_gate(tally, hung, ("hinges", "latch"), Colours(), ROUND_SIZES)
        >>> [(row.role, int(row.net)) for row in tally.reasons_in_order() if row.role in ("hinge", "latch")]
        [('hinge', 2), ('latch', 1)]
    """
    for leaf in gate.leaves:
        _count_leaf(tally, gate.id, leaf, colours, system)
    if "latch" in hardware:
        tally.count("latch", finish(colours, "gate"), "gates")
    if len(gate.leaves) == 2:
        tally.count("drop_bolt", finish(colours, "gate"), "double gates")
    elif "drop_bolt" in hardware:
        tally.count("drop_bolt", finish(colours, "gate"), "gates")


def _count_leaf(tally: Tally, gate: str, leaf: Leaf, colours: Colours, system: System) -> None:
    colour, screw, rules = finish(colours, "gate"), finish(colours, "screw"), system.gates
    for stile in leaf.stiles:
        tally.piece("gate.stile", colour, stile, gate, "gate leaves")
    for rail in leaf.rails:
        tally.piece("gate.rail", colour, rail.length, gate, "gate leaves")
    for sheet in leaf.sheets:
        tally.piece("sheet", finish(colours, "sheet"), sheet.blank, gate, "gate leaves", sheet.width)
    for panel in leaf.lattice:
        tally.piece("lattice", finish(colours, "lattice"), panel.length, gate, "gate leaves", panel.height)
        tally.count("screw", screw, "lattice along a gate's middle rail", each=system.screws.per_lattice)
        tally.count("lattice_clip", colour, "stiles of lattice-topped leaves", 2)
    tally.count("screw", screw, "gate frame joints", 2 * len(leaf.rails), rules.screws_per_joint)
    tally.count("stile_plug", colour, "tops of gate stiles", 2)
    if leaf.hinges:
        tally.count("hinge", colour, "gate leaves", each=len(leaf.hinges))
        tally.count("screw", screw, "hinges", len(leaf.hinges), rules.hinge_screws)


def count_retrofit(tally: Tally, built: BuiltRetrofit, colours: Colours, system: System) -> None:
    """Parts [mm] and screws of lattice added to a standing fence, into the tally. Source: common practice.

    Example: of two bays one post stands between, where two extensions are stitched; caps go on all three posts:

        >>> from fencing.model.measure import Retrofit
        >>> from fencing.set_out.retrofit import build
        >>> from fencing.model.example_system import ROUND_SIZES
        >>> tally = Tally()
        >>> count_retrofit(tally, build(Retrofit("R1", (2400, 2400), 300), ROUND_SIZES), Colours(), ROUND_SIZES)
        >>> [(row.role, int(row.net)) for row in tally.reasons_in_order() if row.role != "screw"]
        [('post.extension', 4), ('rail', 2), ('lattice', 2), ('cap.pair', 3)]
    """
    screws, screw, post = system.screws, finish(colours, "screw"), finish(colours, "post")
    for bay in built.bays:
        for _ in range(2):
            tally.piece("post.extension", post, built.extension, bay.id, "retrofitted bays")
        tally.piece("rail", finish(colours, "rail"), bay.rails[0].length, bay.id, "retrofit rails")
        tally.piece(
            "lattice", finish(colours, "lattice"), bay.lattice[0].length, bay.id, "retrofitted bays", bay.lattice_height
        )
        tally.count("screw", screw, "rail ends", 2, screws.per_rail_end)
        tally.count("screw", screw, "foot of retrofitted lattice", each=screws.per_lattice)
        tally.count("screw", screw, "feet of extensions", 2, screws.per_rail_end)
    posts = len(built.bays) + 1
    free = built.extension - screws.pair_from_top - system.retrofit_overlap
    if posts > 2:
        tally.count("screw", screw, "extensions stitched in pairs", posts - 2, stitches(free, screws.pair_spacing_max))
    tally.count("cap.pair", finish(colours, "cap"), "retrofitted posts", posts)
    tally.count("screw", screw, "caps", posts, screws.per_cap)
