"""Readers for the parts of a fence system: holes, parts cut from stock, counted parts, gates, allowances, components."""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping
from decimal import Decimal

from fencing.model.faults import FaultList, extend_pointer, find_nearest, show_value
from fencing.model.roles import FAMILIES, ROLES
from fencing.model.system import (
    Allowance,
    GateRules,
    Hole,
    HoleShape,
    LatticeStock,
    PostSection,
    Rails,
    Screws,
    Sheets,
    SheetSupply,
)
from fencing.reading.object_reader import ObjectReader

MAX_STOCK = 60
LONGEST_STOCK = 30_000


def read_hole(system: ObjectReader) -> Hole:
    """Read the post hole [mm]; a straight hole needs no second diameter. Source: ``system-2.json``.

    >>> hole = {"depth_mm": 650, "diameter_mm": 300, "shape": "straight", "bedding_mm": 50, "crown_height_mm": 30}
    >>> read_hole(ObjectReader({"hole": hole}, "", FaultList(), ("hole",))).end_diameter
    300
    """
    keys = ("depth_mm", "diameter_mm", "shape", "end_diameter_mm", "bedding_mm", "crown_height_mm")
    hole = system.table("hole", keys)
    shape = HoleShape(hole.word("shape", tuple(HoleShape)))
    diameter = hole.whole("diameter_mm", 30, 3_000)
    straight = hole.good("shape") and shape is HoleShape.STRAIGHT
    end = hole.whole("end_diameter_mm", 30, 3_000, diameter if straight else None)
    depth = hole.whole("depth_mm", 100, 6_000)
    bedding = hole.whole("bedding_mm", 0, 2_000)
    if hole.good("shape", "diameter_mm", "end_diameter_mm"):
        _check_ends(hole, shape, diameter, end)
    return Hole(depth, diameter, shape, end, bedding, hole.whole("crown_height_mm", 0, 500))


def _check_ends(hole: ObjectReader, shape: HoleShape, diameter: int, end: int) -> None:
    if shape is HoleShape.STRAIGHT and end != diameter:
        text = f"a straight hole has the same diameter at both ends; write {diameter}, or leave the key out"
        hole.fault("end_diameter_mm", "hole.shape", text)
    elif end < diameter:
        where = "bottom of a belled" if shape is HoleShape.BELLED else "top of a flared"
        hole.fault("end_diameter_mm", "hole.shape", f"the {where} hole is its wide end; write at least {diameter}")


def read_post(posts: ObjectReader, kind: str) -> PostSection:
    """Read one of the two post sections, "channel" or "square" [mm, mm2]. Source: ``system-2.json``.

    >>> square = {"face_mm": 60, "setback_mm": 40, "embedment_min_mm": 600, "stock_mm": [2400, 2100], "steel_area_mm2": 500}
    >>> read_post(ObjectReader({"square": square}, "/posts", FaultList(), ("square",)), "square").stock
    (2100, 2400)
    """
    post = posts.table(kind, ("face_mm", "setback_mm", "embedment_min_mm", "stock_mm", "steel_area_mm2"))
    return PostSection(
        face=post.whole("face_mm", 5, 1_000, plausible=15),
        setback=post.whole("setback_mm", 0, 1_000),
        embedment_min=post.whole("embedment_min_mm", 1, 5_000),
        stock=read_stock(post),
        steel_area=post.whole("steel_area_mm2", 0, 1_000_000, unit="mm2"),
    )


def read_stock(table: ObjectReader, min_items: int = 1) -> tuple[int, ...]:
    """Read stock lengths [mm], each once, in any order; return them shortest first. Source: ``system-2.json``.

    >>> faults = FaultList()
    >>> read_stock(ObjectReader({"stock_mm": [4800, 2390, 4800]}, "/rails", faults, ("stock_mm",))), faults.found[0].code
    ((2390, 4800), 'stock.twice')
    """
    return _sort_stock(
        table, "stock_mm", table.wholes("stock_mm", MAX_STOCK, 1, LONGEST_STOCK, min_items, plausible=100)
    )


def _sort_stock(table: ObjectReader, key: str, lengths: tuple[int, ...]) -> tuple[int, ...]:
    once = sorted(set(lengths))
    if table.good(key) and len(once) < len(lengths):
        table.fault(key, "stock.twice", f"write each once: {once}")
    return tuple(once)


def check_stock(faults: FaultList, pointer: str, stock: tuple[int, ...], needed: int, what: str) -> None:
    """Add a fault if the longest stock is not over the length every piece ``needed`` [mm].

    >>> faults = FaultList()
    >>> check_stock(faults, "/posts/square/stock_mm", (500, 600), 600, "the minimum embedment")
    >>> faults.found[0].text
    'the longest must be over 600 mm, the minimum embedment'
    """
    if stock and stock[-1] <= needed:
        faults.add(pointer, "stock.short", f"the longest must be over {needed} mm, {what}")


def read_rails(system: ObjectReader) -> Rails:
    """Read the rails: stock lengths, saw cut, and tolerance for a level sheet in a sloping rail [mm].

    Source: ``system-2.json``.

    >>> rails = {"stock_mm": [4800], "kerf_mm": 3, "seat_tolerance_mm": 20}
    >>> read_rails(ObjectReader({"rails": rails}, "", FaultList(), ("rails",)))
    Rails(stock=(4800,), kerf=3, seat=20)
    """
    rails = system.table("rails", ("stock_mm", "kerf_mm", "seat_tolerance_mm"))
    return Rails(read_stock(rails), rails.whole("kerf_mm", 0, 50), rails.whole("seat_tolerance_mm", 0, 500))


def read_sheets(system: ObjectReader) -> Sheets:
    """Read the sheets: cover, lap and supply [mm]. Source: ``system-2.json``.

    >>> faults = FaultList()
    >>> wide_lap = {"cover_mm": 50, "lap_mm": 60, "lap_allowance_mm": 0, "height_deduction_mm": 0, "stock_mm": []}
    >>> wide_lap["supply"] = "made_to_length"
    >>> _ = read_sheets(ObjectReader({"sheets": wide_lap}, "", faults, ("sheets",)))
    >>> faults.found[0].text
    'the lap must be under the cover of 50 mm'
    """
    keys = (
        "cover_mm",
        "lap_mm",
        "lap_allowance_mm",
        "height_deduction_mm",
        "supply",
        "stock_mm",
        "step_mm",
        "reuse_strips",
    )
    sheets = system.table("sheets", keys)
    supply = SheetSupply(sheets.word("supply", tuple(SheetSupply)))
    bought_cut = sheets.good("supply") and supply is SheetSupply.MADE_TO_LENGTH
    cover, lap = sheets.whole("cover_mm", 20, 5_000), sheets.whole("lap_mm", 0, 1_000)
    if sheets.good("cover_mm", "lap_mm") and lap >= cover:
        sheets.fault("lap_mm", "system.order", f"the lap must be under the cover of {cover} mm")
    if "step_mm" in sheets and sheets.good("supply") and not bought_cut:
        sheets.fault("step_mm", "sheet.step", "a length step belongs to sheets that are made_to_length; leave it out")
    return Sheets(
        cover=cover,
        lap=lap,
        slack=sheets.whole("lap_allowance_mm", 0, 1_000),
        deduction=sheets.whole("height_deduction_mm", 0, 1_000),
        supply=supply,
        stock=read_stock(sheets, min_items=0 if bought_cut else 1),
        step=sheets.whole("step_mm", 1, 1_000, default=1),
        reuse_strips=sheets.flag("reuse_strips") if "reuse_strips" in sheets else True,
    )


def read_lattice(system: ObjectReader) -> tuple[LatticeStock, Decimal | None]:
    """Read the lattice of a system [mm] and its open area ratio [0 to 1]; no heights if it has no lattice.

    Source: ``system-2.json``.

    >>> none = {"heights_mm": [], "stock_mm": [], "raked": False}
    >>> read_lattice(ObjectReader({"lattice": none}, "", FaultList(), ("lattice",)))
    (LatticeStock(heights=(), stock=(), raked=False), None)
    """
    lattice = system.table("lattice", ("heights_mm", "stock_mm", "raked", "open_area_ratio"))
    heights = _sort_stock(lattice, "heights_mm", lattice.wholes("heights_mm", 20, 1, 5_000))
    if "heights_mm" not in lattice:
        lattice.raw("heights_mm")
    stock = read_stock(lattice, min_items=1 if heights else 0)
    open_area_ratio = lattice.decimal("open_area_ratio", 0, 1) if "open_area_ratio" in lattice else None
    return LatticeStock(heights, stock, lattice.flag("raked")), open_area_ratio


PERCENT = re.compile(r"([0-9]{1,3}(?:\.[0-9]{1,4})?) ?%")
EACH = re.compile(r"([0-9]{1,4}) each")

GATE_KEYS = (
    "clearance_single_mm", "clearance_wide_mm", "clearance_double_mm", "stile_mm", "leaf_max_mm",
    "clip_below_sheet_top_mm", "notch_mm", "lattice_notch_mm", "screws_per_joint", "hinge_screws",
    "hinge_from_top_mm", "hinge_from_bottom_mm",
)  # fmt: skip
SCREW_KEYS = (
    "pair_from_top_mm", "pair_above_ground_mm", "pair_spacing_max_mm", "per_rail_end", "per_lattice", "per_cap",
)  # fmt: skip


def read_screws(system: ObjectReader) -> Screws:
    """Read the positions of screws [mm] and the number at each position [0 to 100]. Source: ``system-2.json``.

    >>> from fencing.model.faults import FaultList
    >>> faults = FaultList()
    >>> screws = read_screws(ObjectReader({"screws": {"per_cap": 2}}, "", faults, ("screws",)))
    >>> screws.per_cap, [fault.pointer for fault in faults.found][:2]
    (2, ['/screws/pair_from_top_mm', '/screws/pair_above_ground_mm'])
    """
    screws = system.table("screws", SCREW_KEYS)
    return Screws(
        pair_from_top=screws.whole("pair_from_top_mm", 0, 5_000),
        pair_above_ground=screws.whole("pair_above_ground_mm", 0, 5_000),
        pair_spacing_max=screws.whole("pair_spacing_max_mm", 10, 5_000),
        per_rail_end=screws.whole("per_rail_end", 0, 100, unit=""),
        per_lattice=screws.whole("per_lattice", 0, 100, unit=""),
        per_cap=screws.whole("per_cap", 0, 100, unit=""),
    )


def read_gate_rules(system: ObjectReader) -> GateRules:
    """Read clearances, stiles, hinges and notches of gates [mm]. Source: ``system-2.json``.

    >>> from fencing.model.faults import FaultList
    >>> faults = FaultList()
    >>> rules = read_gate_rules(ObjectReader({"gates": {"stile_mm": 0}}, "", faults, ("gates",)))
    >>> [fault.code for fault in faults.found if fault.pointer == "/gates/stile_mm"]
    ['range']
    """
    gates = system.table("gates", GATE_KEYS)
    widest = gates.table("leaf_max_mm", ("single", "wide", "double"))
    leaf_max = {kind: widest.whole(kind, 100, 20_000) for kind in ("single", "wide")}
    if "double" in widest:
        leaf_max["double"] = widest.whole("double", 100, 20_000)
    return GateRules(
        clearance_single=gates.whole("clearance_single_mm", 0, 1_000),
        clearance_wide=gates.whole("clearance_wide_mm", 0, 1_000),
        clearance_double=gates.whole("clearance_double_mm", 0, 1_000),
        stile=gates.whole("stile_mm", 1, 1_000),
        leaf_max=leaf_max,
        clip_below_sheet_top=gates.whole("clip_below_sheet_top_mm", 0, 1_000),
        notch=_read_notch(gates, "notch_mm"),
        lattice_notch=_read_notch(gates, "lattice_notch_mm"),
        screws_per_joint=gates.whole("screws_per_joint", 0, 100, unit=""),
        hinge_screws=gates.whole("hinge_screws", 0, 100, unit=""),
        hinge_from_top=gates.whole("hinge_from_top_mm", 0, 5_000),
        hinge_from_bottom=gates.whole("hinge_from_bottom_mm", 0, 5_000),
    )


def _read_notch(gates: ObjectReader, key: str) -> tuple[int, int]:
    """Read the width and height that are cut from a sheet's corner."""
    size = gates.wholes(key, 2, 0, 1_000, min_items=2)
    return (size[0], size[1]) if len(size) == 2 else (0, 0)


def read_allowances(system: ObjectReader) -> Mapping[str, Allowance]:
    """Read the allowances by role or role family: "5%" or "1 each" [percent, pieces]. Source: ``system-2.json``.

    >>> from fencing.model.faults import FaultList
    >>> table = ObjectReader({"allowances": {"screw": "5%", "hinge": "1 each"}}, "", FaultList(), ("allowances",))
    >>> {role: (str(allowance.percent), allowance.each) for role, allowance in read_allowances(table).items()}
    {'screw': ('5', 0), 'hinge': ('0', 1)}
    """
    return {
        role: _read_allowance(system, role, value)
        for role, value in _read_by_role(system, "allowances", (*ROLES, *FAMILIES)).items()
    }


def _read_allowance(system: ObjectReader, role: str, value: object) -> Allowance:
    if isinstance(value, str):
        if percent := PERCENT.fullmatch(value):
            return Allowance(percent=Decimal(percent.group(1)))
        if each := EACH.fullmatch(value):
            return Allowance(each=int(each.group(1)))
    text = f'{show_value(value)} is not an allowance; write a percentage as "5%" or a count as "1 each"'
    system.faults.add(extend_pointer(system.pointer("allowances"), role), "allowance", text)
    return Allowance()


def read_components(system: ObjectReader) -> Mapping[str, str]:
    """Read the catalogue component for each role [name of 1 to 80 characters]. Source: ``system-2.json``.

    >>> from fencing.model.faults import FaultList
    >>> read_components(ObjectReader({"components": {"rail": "rail-48"}}, "", FaultList(), ("components",)))
    {'rail': 'rail-48'}
    """
    components: dict[str, str] = {}
    for role, value in _read_by_role(system, "components", ROLES).items():
        if isinstance(value, str) and value.strip() and len(value) <= 80:
            components[role] = value
            continue
        text = f"{show_value(value)} is not a component; write a text of 1 to 80 characters, or leave the role out"
        system.faults.add(extend_pointer(system.pointer("components"), role), "type", text)
    return components


def _read_by_role(system: ObjectReader, key: str, known: Collection[str]) -> Mapping[str, object]:
    """Read a required mapping from role to value. The fault for an unknown role names the most similar role."""
    system.raw(key)
    members = system.mapping(key)
    for role in members:
        if role not in known:
            like = find_nearest(role, known)
            hint = f"did you mean {like}?" if like else "roles are rail, sheet, post.channel, screw …"
            system.faults.add(
                extend_pointer(system.pointer(key), role), "key.unknown", f"there is no role {show_value(role)}; {hint}"
            )
    return {role: value for role, value in members.items() if role in known}
