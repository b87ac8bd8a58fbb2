"""Roles of parts: one table of what the project knows about each kind of component.

Reader, schemas, take-off, prices, completeness, catalogue, papers and pages read this table. To add a role, add a row and
count the role in :mod:`fencing.quantities.fixings`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum


class RoleNeed(StrEnum):
    """Components that a fence system needs of a role before it can quote."""

    EVERY_LENGTH = "every_length"
    """One for each finish and each stock length of the system."""
    EVERY_FINISH = "every_finish"
    LATTICE_FINISHES = "lattice_finishes"
    """One for each finish, if the system has lattice."""
    ONE = "one"
    ONE_OF_FAMILY = "one_of_family"
    """One of this role or of another role of its family."""
    NONE = "none"


class Element(StrEnum):
    """Element of a fence by whose number the cost of a counted role is shared between runs."""

    POST = "post"
    BAY = "bay"
    GATE = "gate"


@dataclass(frozen=True, slots=True)
class Role:
    """A kind of component: its code in documents, its names for people, and how it is needed, counted and bought.

    ``is_cut``: it is cut from stock lengths and compared by the price of its pieces; other roles are bought by count.
    ``one_each``: every piece takes a stock length of its own. ``is_coated``: sawing it damages a coating. ``unit`` is the unit
    of its quantity (UN/ECE Rec 20). ``heading`` is its heading on the cut list, if it is not the plural.
    """

    code: str
    singular: str
    plural: str
    need: RoleNeed = RoleNeed.NONE
    element: Element = Element.BAY
    is_cut: bool = False
    one_each: bool = False
    is_coated: bool = False
    unit: str = "C62"
    heading: str = ""

    @property
    def family(self) -> str:
        """Return the family, for which an allowance may be stated: ``cap`` for ``cap.pair``. Source: house rule.

        >>> ROLES["cap.pair"].family, ROLES["rail"].family
        ('cap', 'rail')
        """
        return self.code.partition(".")[0]


_TABLE = (
    Role("post.square", "square post", "square posts", RoleNeed.EVERY_LENGTH, Element.POST, is_cut=True, one_each=True),
    Role(
        "post.channel", "post channel", "post channels", RoleNeed.EVERY_LENGTH, Element.POST, is_cut=True, one_each=True,
        heading="Channel posts",
    ),
    Role(
        "post.extension", "post extension", "post extensions", RoleNeed.LATTICE_FINISHES, Element.POST, is_cut=True, one_each=True
    ),
    Role("rail", "rail", "rails", RoleNeed.EVERY_LENGTH, is_cut=True, is_coated=True),
    Role("sheet", "sheet", "sheets", RoleNeed.EVERY_LENGTH, is_cut=True, one_each=True, is_coated=True),
    Role("lattice", "lattice panel", "lattice panels", RoleNeed.EVERY_LENGTH, is_cut=True),
    Role("cap.pair", "post cap", "post caps", RoleNeed.EVERY_FINISH, Element.POST),
    Role("cap.square", "square post cap", "square post caps", RoleNeed.EVERY_FINISH, Element.POST),
    Role("screw", "screw", "screws", RoleNeed.EVERY_FINISH),
    Role("lattice_clip", "lattice clip", "lattice clips", RoleNeed.LATTICE_FINISHES, Element.GATE),
    Role("edge_cover", "edge cover", "edge covers"),
    Role("stile_plug", "stile plug", "stile plugs", RoleNeed.ONE, Element.GATE),
    Role("gate.stile", "gate stile", "gate stiles", RoleNeed.EVERY_FINISH, Element.GATE, is_cut=True),
    Role("gate.rail", "gate rail", "gate rails", RoleNeed.EVERY_FINISH, Element.GATE, is_cut=True),
    Role("gate.kit", "gate kit", "gate kits", element=Element.GATE),
    Role("hinge", "hinge", "hinges", RoleNeed.ONE, Element.GATE),
    Role("latch", "latch", "latches", RoleNeed.ONE, Element.GATE),
    Role("drop_bolt", "drop bolt", "drop bolts", RoleNeed.ONE, Element.GATE),
    Role("concrete.bag", "concrete in bags", "concrete in bags", RoleNeed.ONE_OF_FAMILY, Element.POST, unit="MTQ"),
    Role("concrete.mix", "ready-mixed concrete", "ready-mixed concrete", RoleNeed.ONE_OF_FAMILY, Element.POST, unit="MTQ"),
)  # fmt: skip
"""The table, in the order of lists and documents."""

ROLES: Mapping[str, Role] = {role.code: role for role in _TABLE}

RANK: Mapping[str, int] = {code: rank for rank, code in enumerate(ROLES)}
"""Code of a role -> index in the order of lists and documents."""

CUT_ROLES = frozenset(role.code for role in _TABLE if role.is_cut)
"""Codes of the roles that are cut from stock lengths."""

BAG = "concrete.bag"
"""Code of the role whose components state the yield of a bag."""

FAMILIES: Mapping[str, str] = {
    "post": "all posts",
    "cap": "all caps",
    "gate": "all gate parts",
    "concrete": "all concrete",
}
"""Family for allowances -> its name for people."""


def name_role(code: str, number: object = 2) -> str:
    """Return the name of a role for ``number`` pieces, or the code if the role is not known. Source: house rule.

    >>> name_role("latch", 1), name_role("latch", 2), name_role("concrete.bag", 1)
    ('latch', 'latches', 'concrete in bags')
    """
    role = ROLES.get(code)
    if role is None:
        return code
    return role.singular if number == 1 else role.plural
