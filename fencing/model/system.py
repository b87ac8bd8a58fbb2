"""The fence system: its sizes, limits and allowances.

A system has no hidden defaults: every number comes from its document. Lengths are integer millimetres.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from enum import StrEnum

SYSTEM_SCHEMA = "system-2"
"""Name of the document format, in its member ``schema`` and under ``/schemas``."""


class HoleShape(StrEnum):
    """Shape of a hole: a cylinder, or a cone that is wide at its bottom (belled) or at its top (flared)."""

    STRAIGHT = "straight"
    BELLED = "belled"
    FLARED = "flared"


class SheetSupply(StrEnum):
    """Supply of sheets: in stock lengths, or cut to length by the supplier."""

    STOCK = "stock"
    MADE_TO_LENGTH = "made_to_length"


@dataclass(frozen=True, slots=True)
class Hole:
    """A post hole. ``end_diameter`` is at the bottom of a belled hole, and at the top of a flared hole."""

    depth: int
    diameter: int
    shape: HoleShape
    end_diameter: int
    bedding: int
    crown: int


@dataclass(frozen=True, slots=True)
class PostSection:
    """A post section. ``setback`` is from the post's centre to the end of a rail in it; ``steel_area`` is in mm2.

    ``stock`` is ascending.
    """

    face: int
    setback: int
    embedment_min: int
    stock: tuple[int, ...]
    steel_area: int


@dataclass(frozen=True, slots=True)
class Rails:
    """Rails. ``seat`` is the maximum difference of level across a sheet that stays square-ended in a sloping rail."""

    stock: tuple[int, ...]
    kerf: int
    seat: int


@dataclass(frozen=True, slots=True)
class Sheets:
    """Sheets. ``cover`` + ``lap`` is the width of a sheet; ``step`` is the length step of made-to-length sheets.

    If ``reuse_strips`` is true, a strip ripped off a sheet may fill another narrow gap of the same job.
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
        """Return the width of a whole sheet [mm]: its cover and the lap with the next sheet.

        >>> Sheets(790, 32, 20, 12, SheetSupply.STOCK, (1788,)).width
        822
        """
        return self.cover + self.lap


@dataclass(frozen=True, slots=True)
class LatticeStock:
    """Lattice sizes. If ``raked`` is true, a panel may follow a sloping rail."""

    heights: tuple[int, ...]
    stock: tuple[int, ...]
    raked: bool


@dataclass(frozen=True, slots=True)
class Screws:
    """Rules for screws: distances in mm, and the number at each position."""

    pair_from_top: int
    pair_above_ground: int
    pair_spacing_max: int
    per_rail_end: int
    per_lattice: int
    per_cap: int


@dataclass(frozen=True, slots=True)
class GateRules:
    """Rules for gates. ``leaf_max`` is by kind; ``notch`` and ``lattice_notch`` are (width, height) cut from corners."""

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
    """Quantity beyond net: ``percent`` of net rounded up, or ``each`` more of every component."""

    percent: Decimal = Decimal(0)
    each: int = 0


@dataclass(frozen=True, slots=True)
class Profile:
    """Outside sizes of a post section [mm]: a square tube has a ``depth`` (its side), a channel also has a ``flange``."""

    depth: Decimal
    thickness: Decimal
    flange: Decimal = Decimal(0)
    lip: Decimal = Decimal(0)


@dataclass(frozen=True, slots=True)
class Steel:
    """Steel data for the strength screening: yield strength [MPa], capacity factor, and sections if stated."""

    yield_mpa: Decimal
    capacity_factor: Decimal
    channel: Profile | None = None
    square: Profile | None = None


@dataclass(frozen=True, slots=True)
class System:
    """A fence system. ``components`` maps a role to a catalogue component; ``allowances`` maps a role or role family.

    ``bag_yield`` is the wet volume of one bag of concrete in m3, if known. ``lattice_open_area_ratio`` is the open share of a
    lattice panel's area (0 is solid), if stated. ``steel`` is only for the strength screening.
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
