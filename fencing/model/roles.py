"""Roles of parts: the codes in documents and their names for people."""

from __future__ import annotations

ROLES: dict[str, str] = {
    "post.square": "square posts",
    "post.channel": "post channels",
    "post.extension": "post extensions",
    "rail": "rails",
    "sheet": "sheets",
    "lattice": "lattice panels",
    "cap.pair": "post caps",
    "cap.square": "square post caps",
    "screw": "screws",
    "lattice_clip": "lattice clips",
    "edge_cover": "edge covers",
    "stile_plug": "stile plugs",
    "gate.stile": "gate stiles",
    "gate.rail": "gate rails",
    "gate.kit": "gate kits",
    "hinge": "hinges",
    "latch": "latches",
    "drop_bolt": "drop bolts",
    "concrete.bag": "concrete in bags",
    "concrete.mix": "ready-mixed concrete",
}
"""Role -> plural name, in the order of lists and documents."""

RANK: dict[str, int] = {role: rank for rank, role in enumerate(ROLES)}
"""Role -> index in that order."""

FAMILIES: tuple[str, ...] = ("post", "cap", "gate", "concrete")
"""Role families for allowances: ``cap`` applies to ``cap.pair`` and ``cap.square``."""


def part(role: str, number: object = 2) -> str:
    """Return the name of a role for ``number`` pieces, or the code if the role is not known. Source: house rule.

    >>> part("latch", 1), part("latch", 2), part("concrete.bag", 1)
    ('latch', 'latches', 'concrete in bags')
    """
    plural = ROLES.get(role, role)
    if number != 1 or role not in ROLES or role.startswith("concrete"):
        return plural
    return "latch" if role == "latch" else plural.removesuffix("s")
