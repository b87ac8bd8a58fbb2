"""The fields of a fence system's form: where each stands in the document, what it is called, its unit and what it means."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

from fencing.model.roles import FAMILIES, ROLES


class Kind(StrEnum):
    """How a field is typed. Lengths are mm; several are written with commas, a pair as ``7 x 11``."""

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
class Field:
    """``path`` is where it stands in the document, with slashes; it is the field's name on the page too.

    ``unset`` is how an unwritten ``YES`` counts; ``empty`` says that no length at all is an answer too.
    """

    path: str
    label: str
    hint: str = ""
    kind: Kind = Kind.LENGTH
    choices: tuple[tuple[str, str], ...] = ()
    unset: bool = False
    empty: bool = False


@dataclass(frozen=True, slots=True)
class Section:
    """Fields that belong together, under a heading. ``more`` are folded away until one of them is used."""

    id: str
    heading: str
    about: str
    fields: tuple[Field, ...]
    more: tuple[Field, ...] = ()

    def all(self) -> tuple[Field, ...]:
        return self.fields + self.more


STOCK_HINT = "With commas: 1590, 1890"
_SHAPES = (("straight", "Straight"), ("belled", "Belled: wider at the bottom"), ("flared", "Flared: wider at the top"))
_SUPPLY = (("stock", "Cut from stock lengths"), ("made_to_length", "Made to length by the supplier"))
_FAMILY_WORDS = {"post": "all posts", "cap": "all caps", "gate": "all gate parts", "concrete": "all concrete"}


def _post(kind: str) -> tuple[Field, ...]:
    at = f"posts/{kind}"
    return (
        Field(f"{at}/face_mm", "Face, mm", "Its width seen from the front."),
        Field(f"{at}/setback_mm", "Setback, mm", "Post's centre to the end of a rail in its pocket."),
        Field(f"{at}/embedment_min_mm", "Least embedment, mm", "Length below ground."),
        Field(f"{at}/steel_area_mm2", "Steel, mm²", "Of its cross-section; taken off the concrete.", Kind.COUNT),
        Field(f"{at}/stock_mm", "Stock lengths, mm", STOCK_HINT, Kind.LENGTHS),
    )


def _by_role(under: str, kind: Kind, hint: str = "") -> Iterator[Field]:
    for role, word in ROLES.items():
        yield Field(f"{under}/{role}", word.capitalize(), hint, kind)


NAMED = Section(
    "named", "Name", "",
    (
        Field("code", "Code", "Small letters, digits, hyphen, dot. It can't be changed later.", Kind.TEXT),
        Field("label", "Name", "As it stands on quotes and lists.", Kind.TEXT),
    ),
)  # fmt: skip
SECTIONS: tuple[Section, ...] = (
    NAMED,
    Section(
        "bays", "Pitch and closing bay", "",
        (
            Field("pitch_mm", "Pitch, mm", "Hole centre to hole centre."),
            Field("closing_bay_min_mm", "Least closing bay, mm", "The last two bays are evened out before one is shorter."),
        ),
    ),
    Section(
        "ground", "Ground", "What is beyond a limit is still taken off, with a stop beside it.",
        (
            Field("ground_gap_mm", "Gap to the ground, mm", "Least, below the bottom rail."),
            Field("ground_gap_max_mm", "Greatest gap, mm", "Over it a bay has to be stepped, raked or filled."),
            Field("step_max_mm", "Greatest step, mm", "From one bay to the next."),
            Field("rake_max_deg", "Steepest rake, °", "Of a bay whose rails follow the ground.", Kind.NUMBER),
        ),
    ),
    Section(
        "holes", "Holes", "",
        (
            Field("hole/depth_mm", "Depth, mm", "At least the embedment and the bedding."),
            Field("hole/diameter_mm", "Diameter, mm"),
            Field("hole/shape", "Shape", "", Kind.CHOICE, _SHAPES),
            Field("hole/end_diameter_mm", "Wide end, mm", "Of a belled or flared hole; empty for a straight one."),
            Field("hole/bedding_mm", "Bedding, mm", "Concrete under the post."),
            Field("hole/crown_mm", "Crown, mm", "Concrete above ground, so that water runs off."),
        ),
    ),
    Section("channels", "Post channels", "A channel holds one bay's rails; two of them make a line post.", _post("channel")),
    Section("squares", "Square posts", "At ends, corners and gates.", _post("square")),
    Section(
        "rails", "Rails", "",
        (
            Field("rails/stock_mm", "Stock lengths, mm", STOCK_HINT, Kind.LENGTHS),
            Field("rails/kerf_mm", "Saw kerf, mm", "Lost with every cut."),
            Field("rails/seat_mm", "Seat, mm", "A square-ended sheet may stand in a sloping rail up to this difference."),
        ),
    ),
    Section(
        "sheets", "Sheets", "Cover and lap together are the width of one sheet.",
        (
            Field("sheets/cover_mm", "Cover, mm", "The width one sheet adds."),
            Field("sheets/lap_mm", "Lap, mm", "The width two neighbours share."),
            Field("sheets/slack_mm", "Slack, mm", "A surplus up to this goes into the laps; more is ripped off."),
            Field("sheets/deduction_mm", "Deduction, mm", "A sheet is so much shorter than the panel is high."),
            Field("sheets/supply", "Bought", "", Kind.CHOICE, _SUPPLY),
            Field("sheets/stock_mm", "Stock lengths, mm", STOCK_HINT, Kind.LENGTHS),
            Field("sheets/step_mm", "Length step, mm", "Of sheets made to length; else empty."),
            Field("sheets/reuse_strips", "Ripped strips serve another narrow place", kind=Kind.YES, unset=True),
        ),
    ),
    Section(
        "lattice", "Lattice", "Without heights this system has none.",
        (
            Field("lattice/heights_mm", "Heights, mm", "With commas; empty: no lattice.", Kind.LENGTHS, empty=True),
            Field("lattice/stock_mm", "Stock lengths, mm", STOCK_HINT, Kind.LENGTHS),
            Field("lattice/porosity", "Open share", "0 to 1 of a panel's area, for the wind screening.", Kind.NUMBER),
            Field("lattice/raked", "A panel may follow a sloping rail", kind=Kind.YES),
        ),
    ),
    Section(
        "screws", "Screws", "Stitching runs down the post, no further apart than the spacing.",
        (
            Field("screws/pair_from_top_mm", "First below the top, mm"),
            Field("screws/pair_above_ground_mm", "Last above ground, mm"),
            Field("screws/pair_spacing_max_mm", "Greatest spacing, mm"),
            Field("screws/per_rail_end", "Per rail end", "", Kind.COUNT),
            Field("screws/per_lattice", "Per lattice panel", "Along the middle rail.", Kind.COUNT),
            Field("screws/per_cap", "Per cap", "", Kind.COUNT),
        ),
    ),
    Section(
        "gates", "Gates", "Opening less clearance is the leaf, or both leaves together.",
        (
            Field("gates/clearance_single_mm", "Clearance, single, mm"),
            Field("gates/clearance_wide_mm", "Clearance, wide, mm"),
            Field("gates/clearance_double_mm", "Clearance, double, mm", "Over both leaves."),
            Field("gates/leaf_max_mm/single", "Widest leaf, single, mm"),
            Field("gates/leaf_max_mm/wide", "Widest leaf, wide, mm"),
            Field("gates/leaf_max_mm/double", "Widest leaf, double, mm", "Of each leaf; empty: as wide."),
            Field("gates/stile_mm", "Stile, mm", "Its width seen from the front."),
            Field("gates/clip_below_sheet_top_mm", "Clip below sheet top, mm", "Lattice clip of a gate with lattice."),
            Field("gates/notch_mm", "Sheet notch, mm", "Width × height cut from its corners, as 7 × 11", Kind.PAIR),
            Field("gates/lattice_notch_mm", "Notch under lattice, mm", "Width × height of the top ones", Kind.PAIR),
            Field("gates/screws_per_joint", "Screws per joint", "", Kind.COUNT),
            Field("gates/hinge_screws", "Screws per hinge", "", Kind.COUNT),
            Field("gates/hinge_from_top_mm", "Upper hinge, mm", "Below the top of the leaf."),
            Field("gates/hinge_from_bottom_mm", "Lower hinge, mm", "Above the foot of the leaf."),
        ),
    ),
    Section("retrofit", "Retrofit", "Lattice added to a standing fence.",
            (Field("retrofit/extension_overlap_mm", "Overlap of a post extension, mm", "With the standing post."),)),
    Section(
        "allowances", "Allowances", "More than net: a percentage as 5%, or so many of each kind as 1 each. Empty: nothing more.",
        tuple(Field(f"allowances/{one}", _FAMILY_WORDS[one].capitalize(), "", Kind.TEXT) for one in FAMILIES),
        tuple(_by_role("allowances", Kind.TEXT)),
    ),
    Section(
        "components", "Components",
        "What the take-off names for each part. Prices come from all that serve a part in its finish and length.",
        (
            Field("components/concrete.bag", "Concrete in bags", "One chosen: concrete is bought in these bags.", Kind.COMPONENT),
            Field("bag_yield_m3", "One bag makes, m³", "Wet concrete; empty: as the catalogue says of the bag.", Kind.NUMBER),
        ),
        tuple(one for one in _by_role("components", Kind.COMPONENT) if not one.path.endswith("concrete.bag")),
    ),
    Section(
        "steel", "Steel of the posts", "For the strength screening alone; all empty: it asks for them.",
        (
            Field("strength/yield_mpa", "Yield strength, MPa", "", Kind.NUMBER),
            Field("strength/capacity_factor", "Capacity factor", "From 0 to 1", Kind.NUMBER),
        ),
        (
            Field("strength/square/side_mm", "Square post: side, mm", "", Kind.NUMBER),
            Field("strength/square/thickness_mm", "Square post: wall, mm", "", Kind.NUMBER),
            Field("strength/channel/depth_mm", "Channel: depth, mm", "", Kind.NUMBER),
            Field("strength/channel/flange_mm", "Channel: flange, mm", "", Kind.NUMBER),
            Field("strength/channel/thickness_mm", "Channel: wall, mm", "", Kind.NUMBER),
            Field("strength/channel/lip_mm", "Channel: lip, mm", "Empty: none", Kind.NUMBER),
        ),
    ),
)  # fmt: skip
FIELDS: tuple[Field, ...] = tuple(one for section in SECTIONS for one in section.all())
OPTIONAL_TABLES = ("strength/channel", "strength/square", "strength")
"""Left out of the document when nothing in them is written; inner ones first."""
