"""The fields of a fence system's form: where each stands in the document, what it is called, its unit and what it means."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

from fencing.model.roles import FAMILIES, ROLES


class FieldType(StrEnum):
    """Type of a field. Lengths are mm; several are separated by commas, a pair is ``7 x 11``."""

    TEXT = "text"
    LENGTH = "length"
    LENGTHS = "lengths"
    PAIR = "pair"
    COUNT = "count"
    NUMBER = "number"
    CHOICE = "choice"
    YES = "yes"
    COMPONENT = "component"


@dataclass(frozen=True, slots=True)
class SystemField:
    """``path`` is where it stands in the document, with slashes; it is the field's name on the page too.

    ``unset`` is the value of a missing ``YES``; ``empty``: an empty list of lengths is valid.
    """

    path: str
    label: str
    hint: str = ""
    kind: FieldType = FieldType.LENGTH
    choices: tuple[tuple[str, str], ...] = ()
    unset: bool = False
    empty: bool = False


@dataclass(frozen=True, slots=True)
class SystemSection:
    """Fields that belong together, under a heading. ``more`` are folded away until one of them is used."""

    id: str
    heading: str
    about: str
    fields: tuple[SystemField, ...]
    more: tuple[SystemField, ...] = ()

    def all(self) -> tuple[SystemField, ...]:
        return self.fields + self.more


STOCK_HINT = "With commas: 1590, 1890"
_HOLE_SHAPES = (
    ("straight", "Straight"),
    ("belled", "Belled: wider at the bottom"),
    ("flared", "Flared: wider at the top"),
)
_SUPPLY = (("stock", "Cut from stock lengths"), ("made_to_length", "Made to length by the supplier"))


def _post(kind: str) -> tuple[SystemField, ...]:
    at = f"posts/{kind}"
    return (
        SystemField(f"{at}/face_mm", "Face, mm", "Its width seen from the front."),
        SystemField(f"{at}/setback_mm", "Setback, mm", "Post's centre to the end of a rail in its pocket."),
        SystemField(f"{at}/embedment_min_mm", "Minimum embedment, mm", "Length below ground."),
        SystemField(
            f"{at}/steel_area_mm2", "Steel, mm²", "Of its cross-section; subtracted from the concrete.", FieldType.COUNT
        ),
        SystemField(f"{at}/stock_mm", "Stock lengths, mm", STOCK_HINT, FieldType.LENGTHS),
    )


def _by_role(under: str, kind: FieldType, hint: str = "") -> Iterator[SystemField]:
    for role in ROLES.values():
        yield SystemField(f"{under}/{role.code}", role.plural.capitalize(), hint, kind)


NAMED = SystemSection(
    "named", "Name", "",
    (
        SystemField("code", "Code", "Small letters, digits, hyphen, dot. It can't be changed later.", FieldType.TEXT),
        SystemField("label", "Name", "Shown on quotes and in lists.", FieldType.TEXT),
    ),
)  # fmt: skip
SECTIONS: tuple[SystemSection, ...] = (
    NAMED,
    SystemSection(
        "bays", "Pitch and closing bay", "",
        (
            SystemField("pitch_mm", "Pitch, mm", "Hole centre to hole centre."),
            SystemField("min_closing_bay_mm", "Minimum closing bay, mm", "If one is shorter, the last two bays are made equal."),
        ),
    ),
    SystemSection(
        "ground", "Ground", "A fence outside a limit is still calculated, with a must-fix notice.",
        (
            SystemField("ground_gap_mm", "Gap to the ground, mm", "Minimum, below the bottom rail."),
            SystemField("max_ground_gap_mm", "Maximum gap, mm", "Above this, step, rake or fill the bay."),
            SystemField("max_step_mm", "Maximum step, mm", "From one bay to the next."),
            SystemField("rake_max_deg", "Steepest rake, °", "Of a bay whose rails follow the ground.", FieldType.NUMBER),
        ),
    ),
    SystemSection(
        "holes", "Holes", "",
        (
            SystemField("hole/depth_mm", "Depth, mm", "At least the embedment and the bedding."),
            SystemField("hole/diameter_mm", "Diameter, mm"),
            SystemField("hole/shape", "Shape", "", FieldType.CHOICE, _HOLE_SHAPES),
            SystemField("hole/end_diameter_mm", "Wide end, mm", "Of a belled or flared hole; empty for a straight one."),
            SystemField("hole/bedding_mm", "Bedding, mm", "Concrete under the post."),
            SystemField("hole/crown_height_mm", "Crown, mm", "Concrete above ground, so that water runs off."),
        ),
    ),
    SystemSection(
        "channels", "Post channels", "A channel holds one bay's rails; two of them make a line post.", _post("channel")
    ),
    SystemSection("squares", "Square posts", "At ends, corners and gates.", _post("square")),
    SystemSection(
        "rails", "Rails", "",
        (
            SystemField("rails/stock_mm", "Stock lengths, mm", STOCK_HINT, FieldType.LENGTHS),
            SystemField("rails/kerf_mm", "Saw kerf, mm", "Lost with every cut."),
            SystemField(
                "rails/seat_tolerance_mm", "Seat, mm", "A square-ended sheet may stand in a sloping rail up to this difference."
            ),
        ),
    ),
    SystemSection(
        "sheets", "Sheets", "Cover and lap together are the width of one sheet.",
        (
            SystemField("sheets/cover_mm", "Cover, mm", "The width one sheet adds."),
            SystemField("sheets/lap_mm", "Lap, mm", "The width two neighbours share."),
            SystemField("sheets/lap_allowance_mm", "Lap allowance, mm", "A surplus up to this goes into the laps."),
            SystemField("sheets/height_deduction_mm", "Deduction, mm", "Difference between panel height and sheet length."),
            SystemField("sheets/supply", "Supplied as", "", FieldType.CHOICE, _SUPPLY),
            SystemField("sheets/stock_mm", "Stock lengths, mm", STOCK_HINT, FieldType.LENGTHS),
            SystemField("sheets/step_mm", "Length step, mm", "Of sheets made to length; else empty."),
            SystemField("sheets/reuse_strips", "Use ripped strips for other narrow pieces", kind=FieldType.YES, unset=True),
        ),
    ),
    SystemSection(
        "lattice", "Lattice", "Without heights this system has none.",
        (
            SystemField("lattice/heights_mm", "Heights, mm", "With commas; empty: no lattice.", FieldType.LENGTHS, empty=True),
            SystemField("lattice/stock_mm", "Stock lengths, mm", STOCK_HINT, FieldType.LENGTHS),
            SystemField(
                "lattice/open_area_ratio", "Open area ratio", "From 0 to 1, for the strength screening.", FieldType.NUMBER
            ),
            SystemField("lattice/raked", "A panel may follow a sloping rail", kind=FieldType.YES),
        ),
    ),
    SystemSection(
        "screws", "Screws", "Stitching runs down the post, no further apart than the spacing.",
        (
            SystemField("screws/pair_from_top_mm", "First below the top, mm"),
            SystemField("screws/pair_above_ground_mm", "Last above ground, mm"),
            SystemField("screws/pair_spacing_max_mm", "Maximum spacing, mm"),
            SystemField("screws/per_rail_end", "Per rail end", "", FieldType.COUNT),
            SystemField("screws/per_lattice", "Per lattice panel", "Along the middle rail.", FieldType.COUNT),
            SystemField("screws/per_cap", "Per cap", "", FieldType.COUNT),
        ),
    ),
    SystemSection(
        "gates", "Gates", "Opening less clearance is the leaf, or both leaves together.",
        (
            SystemField("gates/clearance_single_mm", "Clearance, single, mm"),
            SystemField("gates/clearance_wide_mm", "Clearance, wide, mm"),
            SystemField("gates/clearance_double_mm", "Clearance, double, mm", "Over both leaves."),
            SystemField("gates/leaf_max_mm/single", "Widest leaf, single, mm"),
            SystemField("gates/leaf_max_mm/wide", "Widest leaf, wide, mm"),
            SystemField("gates/leaf_max_mm/double", "Widest leaf, double, mm", "Of each leaf; empty: as wide."),
            SystemField("gates/stile_mm", "Stile, mm", "Its width seen from the front."),
            SystemField("gates/clip_below_sheet_top_mm", "Clip below sheet top, mm", "Lattice clip of a gate with lattice."),
            SystemField("gates/notch_mm", "Sheet notch, mm", "Width × height cut from its corners, as 7 × 11", FieldType.PAIR),
            SystemField("gates/lattice_notch_mm", "Notch under lattice, mm", "Width × height of the top ones", FieldType.PAIR),
            SystemField("gates/screws_per_joint", "Screws per joint", "", FieldType.COUNT),
            SystemField("gates/hinge_screws", "Screws per hinge", "", FieldType.COUNT),
            SystemField("gates/hinge_from_top_mm", "Upper hinge, mm", "Below the top of the leaf."),
            SystemField("gates/hinge_from_bottom_mm", "Lower hinge, mm", "Above the foot of the leaf."),
        ),
    ),
    SystemSection("retrofit", "Retrofit", "Lattice added to an existing fence.",
            (SystemField("retrofit/extension_overlap_mm", "Overlap of a post extension, mm", "With the existing post."),)),
    SystemSection(
        "allowances", "Allowances", "Added to the net quantity: a percentage (5%) or a number (1 each). Empty: none.",
        tuple(SystemField(f"allowances/{family}", label.capitalize(), "", FieldType.TEXT) for family, label in FAMILIES.items()),
        tuple(_by_role("allowances", FieldType.TEXT)),
    ),
    SystemSection(
        "components", "Components",
        "The component for each part. Prices come from all components that fit its finish and length.",
        (
            SystemField(
                "components/concrete.bag", "Concrete in bags",
                "If set, concrete is bought in these bags.", FieldType.COMPONENT,
            ),
            SystemField(
                "bag_yield_m3", "Yield of one bag, m³", "Wet concrete; empty: the value of the catalogue.", FieldType.NUMBER
            ),
        ),
        tuple(item for item in _by_role("components", FieldType.COMPONENT) if not item.path.endswith("concrete.bag")),
    ),
    SystemSection(
        "steel", "Steel of the posts", "For the strength screening only. If empty, the screening states what is missing.",
        (
            SystemField("strength/yield_mpa", "Yield strength, MPa", "", FieldType.NUMBER),
            SystemField("strength/capacity_factor", "Capacity factor", "From 0 to 1", FieldType.NUMBER),
        ),
        (
            SystemField("strength/square/side_mm", "Square post: side, mm", "", FieldType.NUMBER),
            SystemField("strength/square/thickness_mm", "Square post: wall, mm", "", FieldType.NUMBER),
            SystemField("strength/channel/depth_mm", "Channel: depth, mm", "", FieldType.NUMBER),
            SystemField("strength/channel/flange_mm", "Channel: flange, mm", "", FieldType.NUMBER),
            SystemField("strength/channel/thickness_mm", "Channel: wall, mm", "", FieldType.NUMBER),
            SystemField("strength/channel/lip_mm", "Channel: lip, mm", "Empty: none", FieldType.NUMBER),
        ),
    ),
)  # fmt: skip
FIELDS: tuple[SystemField, ...] = tuple(item for section in SECTIONS for item in section.all())
OPTIONAL_TABLES = ("strength/channel", "strength/square", "strength")
"""Left out of the document when nothing in them is written; inner ones first."""
