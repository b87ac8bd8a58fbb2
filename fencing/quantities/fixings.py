"""Counting of screws, caps and small parts of posts, bays, gates and retrofits.

Rules: docs/rules.md, "Posts, caps, screws, concrete".
"""

from __future__ import annotations

from fencing.model.fence import Bay, BuiltRetrofit, HungGate, Leaf, Post
from fencing.model.measure import Finishes
from fencing.model.rounding import round_up
from fencing.model.system import Screws, System
from fencing.quantities.tally import Tally


def count_stitches(length: int, spacing: int) -> int:
    """Return the number of screws along ``length`` [mm] with at most ``spacing`` [mm] between them.

    There is one screw at each end. Source: common practice.

    Example: a 1500 pair, 50 above ground, first 100 below the top, last 100 above ground: 1350 mm in 5 spaces of 270.

    >>> count_stitches(1350, 280)
    6
    >>> count_stitches(0, 280)
    1
    """
    return round_up(max(length, 0), spacing) + 1


def count_post_stitches(top: int, ground: int, screws: Screws) -> int:
    """Return the number of screws that stitch a pair, or a channel to a square post, up to ``top`` [mm above datum].

    ``top`` is the lower top of the pair. Source: common practice; the distances are the system's.

    Example: 1850 above ground, 100 free at each end: 1650 mm in 6 spaces of 275; the maximum is 300:

        >>> from fencing.model.example_system import ROUND_SIZES
        >>> count_post_stitches(1850, 0, ROUND_SIZES.screws)
        7
    """
    return count_stitches(top - screws.pair_from_top - ground - screws.pair_above_ground, screws.pair_spacing_max)


def find_finish(finishes: Finishes, part: str) -> str | None:
    """Return the name of a part's finish, with the fall-backs of ``Finishes``, or None. Source: house rule.

    >>> find_finish(Finishes(post="inkstone", rail="oatgrass"), "lattice")
    'oatgrass'
    """
    named: str | None = getattr(finishes, part)
    fallback = {"lattice": "rail", "cap": "post", "screw": "rail", "gate": "post"}
    return named if named is not None or part not in fallback else getattr(finishes, fallback[part])


def count_post(tally: Tally, post: Post, finishes: Finishes, system: System, *, joined: bool) -> None:
    """Add the uprights [mm], cap and screws of one post to the tally.

    Args:
        tally: tally to add to.
        post: post as built.
        finishes: finishes of its run.
        system: the fence system.
        joined: true for a single channel fixed to an existing steel fence.

    Source: docs/rules.md, "Posts, caps, screws, concrete".

    Example: a line post is two channels and one cap with two screws, stitched by seven screws:

        >>> from fencing.model.fence import Upright
        >>> from fencing.model.example_system import ROUND_SIZES
        >>> pair = tuple(Upright("channel", bay, 1850, 2450, 2700, 600) for bay in ("A-1", "A-2"))
        >>> tally = Tally()
        >>> count_post(tally, Post("A-P2", 2400, "line", 0, 650, pair), Finishes(), ROUND_SIZES, joined=False)
        >>> [(row.role, int(row.net)) for row in tally.reasons_in_order()]
        [('post.channel', 2), ('cap.pair', 1), ('screw', 9)]
    """
    finish, cap, screw = find_finish(finishes, "post"), find_finish(finishes, "cap"), find_finish(finishes, "screw")
    channels = [upright for upright in post.uprights if upright.section == "channel"]
    for upright in post.uprights:
        tally.piece(f"post.{upright.section}", finish, upright.length, post.id, f"{post.kind} posts")
    per_cap, half = system.screws.per_cap, round_up(system.screws.per_cap, 2)
    if post.kind == "square":
        tally.count("cap.square", cap, "square posts")
        tally.count("screw", screw, "caps", each=per_cap)
        for upright in channels:
            number = count_post_stitches(upright.top, post.ground, system.screws)
            tally.count("screw", screw, "channels to square posts", each=number)
        return
    tops = {upright.top for upright in channels}
    if post.kind == "line":
        tally.count("screw", screw, "pairs stitched", each=count_post_stitches(min(tops), post.ground, system.screws))
    elif joined:
        tally.count(
            "screw", screw, "joins to standing posts", each=count_post_stitches(min(tops), post.ground, system.screws)
        )
    if post.kind == "line" and len(tops) == 1:
        tally.count("cap.pair", cap, "pairs")
        tally.count("screw", screw, "caps", each=per_cap)
    else:
        tally.count("screw", screw, "half caps", len(channels), half)


def count_post_half_caps(post: Post) -> int:
    """Return the number of half caps on a post: two on a stepped pair, one on a single channel, otherwise none.

    Source: common practice.

    >>> from fencing.model.fence import Upright
    >>> high, low = (Upright("channel", "A-1", top, 2400, 2400, 550) for top in (1850, 1750))
    >>> [count_post_half_caps(Post("A-P2", 0, "line", 0, 650, pair)) for pair in ((high, low), (high, high))]
    [2, 0]
    """
    if post.kind == "square":
        return 0
    return 0 if post.kind == "line" and len({upright.top for upright in post.uprights}) == 1 else len(post.uprights)


def count_bay(tally: Tally, bay: Bay, finishes: Finishes, system: System) -> None:
    """Add the rails, sheets and lattice of one bay [mm], with their screws, to the tally.

    Source: docs/rules.md, "Posts, caps, screws, concrete".

    Example: two rails have four ends with two screws each:

        >>> from fencing.model.example_system import ROUND_SIZES, TWO_BAYS
        >>> from fencing.quantities.take_off import take_off
        >>> tally = Tally()
        >>> count_bay(tally, take_off(TWO_BAYS, ROUND_SIZES).runs[0].bays[0], Finishes(), ROUND_SIZES)
        >>> [(row.role, int(row.net)) for row in tally.reasons_in_order()]
        [('rail', 2), ('sheet', 3), ('screw', 8)]
    """
    rail, screw = find_finish(finishes, "rail"), find_finish(finishes, "screw")
    for piece in bay.rails:
        tally.piece("rail", rail, piece.length, bay.id, f"{piece.position} rails")
    for sheet in bay.sheets:
        tally.piece("sheet", find_finish(finishes, "sheet"), sheet.blank, bay.id, "bays", sheet.width)
    for panel in bay.lattice:
        tally.piece("lattice", find_finish(finishes, "lattice"), panel.length, bay.id, "bays", panel.height)
        tally.count("screw", screw, "lattice along the middle rail", each=system.screws.per_lattice)
    tally.count("screw", screw, "rail ends", 2 * len(bay.rails), system.screws.per_rail_end)


def count_gate(tally: Tally, gate: HungGate, hardware: tuple[str, ...], finishes: Finishes, system: System) -> None:
    """Add the parts [mm], hardware and screws of one gate to the tally; two leaves always have a drop bolt.

    Source: docs/rules.md, "Posts, caps, screws, concrete".

    Example: a leaf with hinges, and a latch from the measure:

        >>> from fencing.set_out.gates import build_gate
        >>> from fencing.set_out.ground import Ground
        >>> from fencing.model.measure import Gate, GateKind
        >>> from fencing.model.example_system import ROUND_SIZES
        >>> gate, level = Gate("A-G1", 3000, 1000, GateKind.SINGLE, 1800), Ground((0,), (0,))
        >>> hung = build_gate(gate, ("A-P2", "A-P3"), level, ROUND_SIZES)
        >>> tally = Tally()
        >>> count_gate(tally, hung, ("hinges", "latch"), Finishes(), ROUND_SIZES)
        >>> [(row.role, int(row.net)) for row in tally.reasons_in_order() if row.role in ("hinge", "latch")]
        [('hinge', 2), ('latch', 1)]
    """
    for leaf in gate.leaves:
        _count_leaf(tally, gate.id, leaf, finishes, system)
    if "latch" in hardware:
        tally.count("latch", find_finish(finishes, "gate"), "gates")
    if len(gate.leaves) == 2:
        tally.count("drop_bolt", find_finish(finishes, "gate"), "double gates")
    elif "drop_bolt" in hardware:
        tally.count("drop_bolt", find_finish(finishes, "gate"), "gates")


def _count_leaf(tally: Tally, gate: str, leaf: Leaf, finishes: Finishes, system: System) -> None:
    finish, screw, rules = find_finish(finishes, "gate"), find_finish(finishes, "screw"), system.gates
    for stile in leaf.stiles:
        tally.piece("gate.stile", finish, stile, gate, "gate leaves")
    for rail in leaf.rails:
        tally.piece("gate.rail", finish, rail.length, gate, "gate leaves")
    for sheet in leaf.sheets:
        tally.piece("sheet", find_finish(finishes, "sheet"), sheet.blank, gate, "gate leaves", sheet.width)
    for panel in leaf.lattice:
        tally.piece("lattice", find_finish(finishes, "lattice"), panel.length, gate, "gate leaves", panel.height)
        tally.count("screw", screw, "lattice along a gate's middle rail", each=system.screws.per_lattice)
        tally.count("lattice_clip", finish, "stiles of lattice-topped leaves", 2)
    tally.count("screw", screw, "gate frame joints", 2 * len(leaf.rails), rules.screws_per_joint)
    tally.count("stile_plug", finish, "tops of gate stiles", 2)
    if leaf.hinges:
        tally.count("hinge", finish, "gate leaves", each=len(leaf.hinges))
        tally.count("screw", screw, "hinges", len(leaf.hinges), rules.hinge_screws)


def count_retrofit(tally: Tally, built: BuiltRetrofit, finishes: Finishes, system: System) -> None:
    """Add the parts [mm] and screws of lattice on an existing fence to the tally. Source: common practice.

    Example: at the post between two bays, two extensions are stitched; all three posts have caps:

        >>> from fencing.model.measure import Retrofit
        >>> from fencing.set_out.run import build_retrofit
        >>> from fencing.model.example_system import ROUND_SIZES
        >>> tally = Tally()
        >>> count_retrofit(tally, build_retrofit(Retrofit("R1", (2400, 2400), 300), ROUND_SIZES), Finishes(), ROUND_SIZES)
        >>> [(row.role, int(row.net)) for row in tally.reasons_in_order() if row.role != "screw"]
        [('post.extension', 4), ('rail', 2), ('lattice', 2), ('cap.pair', 3)]
    """
    screws, screw, post = system.screws, find_finish(finishes, "screw"), find_finish(finishes, "post")
    for bay in built.bays:
        for _ in range(2):
            tally.piece("post.extension", post, built.extension, bay.id, "retrofitted bays")
        tally.piece("rail", find_finish(finishes, "rail"), bay.rails[0].length, bay.id, "retrofit rails")
        tally.piece(
            "lattice",
            find_finish(finishes, "lattice"),
            bay.lattice[0].length,
            bay.id,
            "retrofitted bays",
            bay.lattice_height,
        )
        tally.count("screw", screw, "rail ends", 2, screws.per_rail_end)
        tally.count("screw", screw, "foot of retrofitted lattice", each=screws.per_lattice)
        tally.count("screw", screw, "feet of extensions", 2, screws.per_rail_end)
    posts = len(built.bays) + 1
    free = built.extension - screws.pair_from_top - system.retrofit_overlap
    if posts > 2:
        tally.count(
            "screw", screw, "extensions stitched in pairs", posts - 2, count_stitches(free, screws.pair_spacing_max)
        )
    tally.count("cap.pair", find_finish(finishes, "cap"), "retrofitted posts", posts)
    tally.count("screw", screw, "caps", posts, screws.per_cap)
