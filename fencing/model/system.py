"""What fence is built: the sizes, limits and allowances of a fence system.

A system has no hidden defaults: every number here comes from its document. Lengths are integer millimetres.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from enum import StrEnum


class HoleShape(StrEnum):
    """A cylinder, or a cone that is wide at its bottom (belled) or at its mouth (flared)."""

    STRAIGHT = "straight"
    BELLED = "belled"
    FLARED = "flared"


class SheetSupply(StrEnum):
    """Whether sheets come in stock lengths or as long as they are ordered."""

    STOCK = "stock"
    MADE_TO_LENGTH = "made_to_length"


@dataclass(frozen=True, slots=True)
class Hole:
    """A post hole. ``end_diameter`` is at the bottom of a belled hole, at the top of a flared one."""

    depth: int
    diameter: int
    shape: HoleShape
    end_diameter: int
    bedding: int
    crown: int


@dataclass(frozen=True, slots=True)
class PostSection:
    """A post section: ``setback`` is from the post's centre to the end of a rail in its pocket, ``steel_area`` in mm2.

    ``stock`` is ascending.
    """

    face: int
    setback: int
    embedment_min: int
    stock: tuple[int, ...]
    steel_area: int


@dataclass(frozen=True, slots=True)
class Rails:
    """``seat``: a square-ended sheet may stand in a sloping rail while the level differs no more than this across it."""

    stock: tuple[int, ...]
    kerf: int
    seat: int


@dataclass(frozen=True, slots=True)
class Sheets:
    """``cover`` + ``lap`` is the width of a sheet; ``step`` is the supplier's length step of made-to-length sheets.

    ``reuse_strips``: whether the strip ripped off a sheet may serve another narrow place of the same job.
    """

    cover: int
    lap: int
    slack: int
    deduction: int
    supply: SheetSupply
    stock: tuple[int, ...] = ()
    step: int = 1
    reuse_strips: bool = True

    @property
    def width(self) -> int:
        """Width of a whole sheet [mm]: what it covers and the lap with the next.

        >>> Sheets(790, 32, 20, 12, SheetSupply.STOCK, (1788,)).width
        822
        """
        return self.cover + self.lap


@dataclass(frozen=True, slots=True)
class LatticeStock:
    """``raked``: whether a panel may follow a sloping rail."""

    heights: tuple[int, ...]
    stock: tuple[int, ...]
    raked: bool


@dataclass(frozen=True, slots=True)
class Screws:
    """Where screws go and how many: distances in mm, numbers for each place."""

    pair_from_top: int
    pair_above_ground: int
    pair_spacing_max: int
    per_rail_end: int
    per_lattice: int
    per_cap: int


@dataclass(frozen=True, slots=True)
class GateRules:
    """``leaf_max`` by kind of gate; ``notch`` and ``lattice_notch`` are (width, height) cut from sheet corners."""

    clearance_single: int
    clearance_wide: int
    clearance_double: int
    stile: int
    leaf_max: Mapping[str, int]
    clip_below_sheet_top: int
    notch: tuple[int, int]
    lattice_notch: tuple[int, int]
    screws_per_joint: int
    hinge_screws: int
    hinge_from_top: int
    hinge_from_bottom: int


@dataclass(frozen=True, slots=True)
class Allowance:
    """Extra over net: ``percent`` of net rounded up, or ``each`` more of every component."""

    percent: Decimal = Decimal(0)
    each: int = 0


@dataclass(frozen=True, slots=True)
class Profile:
    """Outside sizes of a post section [mm]: a square tube has a ``depth`` (its side), a channel a ``flange`` too."""

    depth: Decimal
    thickness: Decimal
    flange: Decimal = Decimal(0)
    lip: Decimal = Decimal(0)


@dataclass(frozen=True, slots=True)
class Steel:
    """What the strength screening knows of the posts: yield strength [MPa], capacity factor, sections where stated."""

    yield_mpa: Decimal
    capacity_factor: Decimal
    channel: Profile | None = None
    square: Profile | None = None


@dataclass(frozen=True, slots=True)
class System:
    """A fence system. ``components`` maps a role to what the catalogue sells for it; ``allowances`` a role or role family.

    ``bag_yield`` is the wet volume of one bag of concrete in m3, where the catalogue knows it. ``lattice_open_area_ratio`` is the
    open share of a lattice panel's area (0 solid), where stated; ``steel`` is for the strength screening alone.
    """

    code: str
    label: str
    pitch: int
    closing_bay_min: int
    ground_gap: int
    ground_gap_max: int
    step_max: int
    rake_max: Decimal
    hole: Hole
    channel: PostSection
    square: PostSection
    rails: Rails
    sheets: Sheets
    lattice: LatticeStock
    screws: Screws
    gates: GateRules
    retrofit_overlap: int
    allowances: Mapping[str, Allowance] = field(default_factory=dict)
    components: Mapping[str, str] = field(default_factory=dict)
    bag_yield: Decimal | None = None
    lattice_open_area_ratio: Decimal | None = None
    steel: Steel | None = None
    version: int = 1
