"""Reader for the fence system document (schema ``system-2``): makes a :class:`fencing.model.system.System`."""

from __future__ import annotations

from fencing.model.faults import FaultList
from fencing.model.system import SYSTEM_SCHEMA, PostSection, System
from fencing.reading.object_reader import ObjectReader
from fencing.reading.strength import read_steel
from fencing.reading.strict_json import check_values
from fencing.reading.system_parts import (
    check_stock,
    read_allowances,
    read_components,
    read_gate_rules,
    read_hole,
    read_lattice,
    read_post,
    read_rails,
    read_screws,
    read_sheets,
)

KEYS = (
    "schema", "code", "label", "pitch_mm", "min_closing_bay_mm", "ground_gap_mm", "max_ground_gap_mm",
    "max_step_mm", "rake_max_deg", "hole", "posts", "rails", "sheets", "lattice", "screws", "gates", "retrofit",
    "allowances", "components", "bag_yield_m3", "strength",
)  # fmt: skip


def read_system(document: object) -> System:
    """Read a fence system.

    Rule: ``system-2.json``. Every key it names is required, except ``bag_yield_m3``, ``strength``, ``sheets.step_mm``,
    ``lattice.open_area_ratio``, ``gates.leaf_max_mm.double`` and a straight hole's ``end_diameter_mm``.
    A system has no hidden defaults.

    Args:
        document: plain values, as :func:`fencing.reading.read_json` gives them.

    Returns:
        The system; stock lengths ascending [mm].

    Raises:
        InvalidDocument: every fault of the document at once.

    Source: house rule.

    Example:
        >>> read_system({"schema": "system-2", "pitch_mm": 0})  # doctest: +ELLIPSIS
        Traceback (most recent call last):
        ...
        fencing.model.faults.InvalidDocument: ...
    """
    document = check_values(document)
    faults = FaultList()
    table = ObjectReader(document, "", faults, KEYS)
    table.word("schema", (SYSTEM_SCHEMA,))
    system = _read_parts(table, table.table("posts", ("channel", "square")))
    _check_limits(table)
    _check_holes(table, system)
    faults.refuse()
    return system


def _read_parts(table: ObjectReader, posts: ObjectReader) -> System:
    lattice, open_area_ratio = read_lattice(table)
    return System(
        code=table.name("code"),
        label=table.text("label", 120),
        pitch=table.whole("pitch_mm", 200, 10_000, plausible=400),
        closing_bay_min=table.whole("min_closing_bay_mm", 1, 10_000),
        ground_gap=table.whole("ground_gap_mm", 0, 1_000),
        ground_gap_max=table.whole("max_ground_gap_mm", 0, 2_000),
        step_max=table.whole("max_step_mm", 0, 5_000),
        rake_max=table.decimal("rake_max_deg", 0, 60, unit="degrees"),
        hole=read_hole(table),
        channel=read_post(posts, "channel"),
        square=read_post(posts, "square"),
        rails=read_rails(table),
        sheets=read_sheets(table),
        lattice=lattice,
        screws=read_screws(table),
        gates=read_gate_rules(table),
        retrofit_overlap=table.table("retrofit", ("extension_overlap_mm",)).whole("extension_overlap_mm", 0, 2_000),
        allowances=read_allowances(table),
        components=read_components(table),
        bag_yield=table.decimal("bag_yield_m3", 0, 1, unit="m3") if "bag_yield_m3" in table else None,
        lattice_open_area_ratio=open_area_ratio,
        steel=read_steel(table),
    )


def _check_limits(table: ObjectReader) -> None:
    """Check that minimums are below their maximums."""
    pitch, least = table.whole_again("pitch_mm"), table.whole_again("min_closing_bay_mm")
    if pitch is not None and least is not None and least >= pitch:
        table.fault(
            "min_closing_bay_mm", "system.order", f"the minimum closing bay must be under the pitch of {pitch} mm"
        )
    gap, most = table.whole_again("ground_gap_mm"), table.whole_again("max_ground_gap_mm")
    if gap is not None and most is not None and most < gap:
        text = f"the maximum ground gap must be at least the minimum ground gap, {gap} mm"
        table.fault("max_ground_gap_mm", "system.order", text)


def _check_holes(table: ObjectReader, system: System) -> None:
    """Check that both posts fit in the hole and in a bay."""
    if not table.good("hole", "posts", "pitch_mm", "min_closing_bay_mm"):
        return
    hole = table.pointer("hole")
    for kind, post in (("channel", system.channel), ("square", system.square)):
        _check_post(table, system, f"{table.pointer('posts')}/{kind}", post)
        needed = post.embedment_min + system.hole.bedding
        if system.hole.depth < needed:
            text = f"a {kind} post needs {needed} mm: {post.embedment_min} embedment and {system.hole.bedding} bedding"
            table.faults.add(f"{hole}/depth_mm", "hole.shallow", text)
    if system.hole.diameter <= system.square.face:
        text = f"a square post of {system.square.face} mm does not fit; write more than {system.square.face}"
        table.faults.add(f"{hole}/diameter_mm", "hole.narrow", text)


def _check_post(table: ObjectReader, system: System, at: str, post: PostSection) -> None:
    least = min(system.closing_bay_min, system.pitch // 2)
    if 2 * post.setback >= least:
        text = f"twice the setback must be under {least} mm (minimum closing bay, half the pitch), so that rails have a length"
        table.faults.add(f"{at}/setback_mm", "system.order", text)
    check_stock(table.faults, f"{at}/stock_mm", post.stock, post.embedment_min, "the minimum embedment")
