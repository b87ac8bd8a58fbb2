"""The fence as set out, and the parts that it needs.

Posts with their uprights, bays with their four corners, gates with their leaves; pieces with their locations, and counted
quantities with their breakdown. A take-off consists of these values. Drawings, set-out sheets and the screening read them.
Lengths, levels and chainages are integer millimetres. A pair is (left, right), seen in the direction of the run.
"""

from __future__ import annotations

from collections.abc import Container
from dataclasses import dataclass
from decimal import Decimal

from fencing.model.measure import Form, Layout

Pair = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Upright:
    """One upright of a post. ``section`` is "square" or "channel"; ``bay`` is the bay a channel belongs to.

    ``length`` is its finished length (cut flush at ``top``), ``stock`` the stock length it comes from (None: none is
    long enough), ``embedment`` the length below ground. ``stock - length`` is trimmed off.
    """

    section: str
    bay: str | None
    top: int
    length: int
    stock: int | None
    embedment: int


@dataclass(frozen=True, slots=True)
class Post:
    """A post. ``kind`` is "square", "line" (a pair of channels) or "single". A corner post has one id in both its runs."""

    id: str
    at: int
    kind: str
    ground: int
    hole_depth: int
    uprights: tuple[Upright, ...]


@dataclass(frozen=True, slots=True)
class Rail:
    """A rail. ``position`` is "bottom", "middle" or "top"; ends are cut square."""

    position: str
    length: int


@dataclass(frozen=True, slots=True)
class Sheet:
    """A vertical sheet. ``at`` is its left edge from the left post's centre; ``left`` and ``right`` are trimmed heights.

    ``foot`` is "square" (a square end in its rail) or "cut" (cut to the rail's slope).
    """

    at: int
    blank: int
    width: int
    left: int
    right: int
    foot: str


@dataclass(frozen=True, slots=True)
class Lattice:
    """A lattice panel, as long as the rail under it."""

    length: int
    height: int


@dataclass(frozen=True, slots=True)
class Bay:
    """The fence between two neighbouring posts, with its four corners in ``base`` and ``top``.

    ``step`` is the height between its base and the base of the bay before it (never negative). ``slope`` is the inclination
    of its base in degrees (never negative). ``ground`` is the level at its two posts. ``gap_min`` and ``gap_max`` are the
    ground gap over its whole width. ``lattice_height`` is 0 without a lattice top.
    """

    id: str
    start: int
    end: int
    form: Form
    step: int
    slope: float
    base: Pair
    top: Pair
    ground: Pair
    gap_min: int
    gap_max: int
    rails: tuple[Rail, ...]
    sheets: tuple[Sheet, ...]
    lattice: tuple[Lattice, ...]
    lattice_height: int
    tapered: bool

    @property
    def width(self) -> int:
        """Return the distance from hole centre to hole centre [mm].

        >>> Bay("A-1", 2400, 4800, Form.LEVEL, 0, 0.0, (50, 50), (1850, 1850), (0, 0), 50, 50, (), (), (), 0, False).width
        2400
        """
        return self.end - self.start

    def count_cut_rails(self, stock: Container[int]) -> int:
        """Count the rails that are cut to length, because no stock length equals their length [mm].

        Args:
            stock: lengths rails are sold in [mm].

        Returns:
            Number of saw cuts, one for each such rail. The choice of a layout and the labour price use it.

        Source: house rule.

        Example: stock rails are 2400 and 4800, so the two rails of 2388 are cut and the rail of 2400 is not:

            >>> rails = (Rail("bottom", 2388), Rail("middle", 2388), Rail("top", 2400))
            >>> Bay("A-1", 0, 2400, Form.LEVEL, 0, 0.0, (50, 50), (1850, 1850), (0, 0), 50, 50, rails, (), (), 0, False
            ... ).count_cut_rails((2400, 4800))
            2
        """
        return sum(rail.length not in stock for rail in self.rails)


@dataclass(frozen=True, slots=True)
class Leaf:
    """A gate leaf. ``hinges`` are heights above its foot; ``clip`` is the lattice clip's height above the sheet's foot."""

    width: int
    height: int
    diagonal: int
    hinges: tuple[int, ...]
    clip: int | None
    stiles: tuple[int, ...]
    rails: tuple[Rail, ...]
    sheets: tuple[Sheet, ...]
    lattice: tuple[Lattice, ...]
    notch: Pair
    top_notch: Pair


@dataclass(frozen=True, slots=True)
class HungGate:
    """A gate as built: ``start`` to ``start + opening`` between inner faces; ``posts`` are the ids of its two posts."""

    id: str
    start: int
    opening: int
    kind: str
    hinge_side: str
    swing: str
    base: int
    top: int
    posts: tuple[str, str]
    leaves: tuple[Leaf, ...]


@dataclass(frozen=True, slots=True)
class RunOption:
    """A form and layout in which a run could be built. ``cost`` is a decimal string, or None if prices are not known."""

    form: Form
    layout: Layout
    bays: int
    must_fix_count: int
    cost: str | None
    chosen: bool


@dataclass(frozen=True, slots=True)
class BuiltRun:
    """A run as set out. ``form`` and ``layout`` are never "auto"; posts, bays and gates are in order of chainage."""

    id: str
    length: int
    form: Form
    layout: Layout
    posts: tuple[Post, ...]
    bays: tuple[Bay, ...]
    gates: tuple[HungGate, ...]
    options: tuple[RunOption, ...] = ()


@dataclass(frozen=True, slots=True)
class BuiltRetrofit:
    """Lattice on an existing fence: bay ids are ``R1-1`` ...; ``extension`` is the length of a post extension."""

    id: str
    extension: int
    lattice_height: int
    bays: tuple[Bay, ...]


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

    def list_locations(self) -> list[str]:
        """Return the location of each of the ``count`` pieces; an empty text where it is not known.

        >>> Piece("rail", None, None, 2390, None, 3, ("A-1", "A-2")).list_locations()
        ['A-1', 'A-2', '']
        """
        return [*self.used_at, *[""] * (self.count - len(self.used_at))][: self.count]


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
