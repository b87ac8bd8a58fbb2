"""Readers for the parts of a fence system that are counted: screws, gates, allowances, components, steel data."""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping
from decimal import Decimal
from typing import Any

from fencing.model.faults import extend_pointer, find_nearest, show_value
from fencing.model.roles import FAMILIES, ROLES
from fencing.model.system import Allowance, GateRules, Screws
from fencing.reading.object_reader import ObjectReader
from fencing.reading.strength import read_steel

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
        notch=_notch(gates, "notch_mm"),
        lattice_notch=_notch(gates, "lattice_notch_mm"),
        screws_per_joint=gates.whole("screws_per_joint", 0, 100, unit=""),
        hinge_screws=gates.whole("hinge_screws", 0, 100, unit=""),
        hinge_from_top=gates.whole("hinge_from_top_mm", 0, 5_000),
        hinge_from_bottom=gates.whole("hinge_from_bottom_mm", 0, 5_000),
    )


def _notch(gates: ObjectReader, key: str) -> tuple[int, int]:
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
        role: _allowance(system, role, value)
        for role, value in _by_role(system, "allowances", (*ROLES, *FAMILIES)).items()
    }


def _allowance(system: ObjectReader, role: str, value: object) -> Allowance:
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
    for role, value in _by_role(system, "components", ROLES).items():
        if isinstance(value, str) and value.strip() and len(value) <= 80:
            components[role] = value
            continue
        text = f"{show_value(value)} is not a component; write a text of 1 to 80 characters, or leave the role out"
        system.faults.add(extend_pointer(system.pointer("components"), role), "type", text)
    return components


def _by_role(system: ObjectReader, key: str, known: Collection[str]) -> Mapping[str, object]:
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


def read_strength_data(system: ObjectReader) -> dict[str, Any]:
    """Read the optional data for the strength screening: steel and sections of the posts [MPa, mm].

    >>> from fencing.model.faults import FaultList
    >>> read_strength_data(ObjectReader({}, "", FaultList(), ("strength",)))
    {'steel': None}
    """
    return {"steel": read_steel(system)}
