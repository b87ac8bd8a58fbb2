"""Writer for the take-off document (schema ``takeoff-2``): plain values and JSON bytes."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from fencing.buying.purchase_lines import plain
from fencing.model.faults import Notice
from fencing.model.fence import (
    Bay,
    BuiltRetrofit,
    BuiltRun,
    Concrete,
    HungGate,
    Lattice,
    Leaf,
    Piece,
    Post,
    Quantity,
    Rail,
    RunOption,
    Sheet,
)
from fencing.quantities.take_off import TakeOff
from fencing.strength.changed_job import SuggestedChange
from fencing.strength.document import write_screening
from fencing.strength.screening import Screening, list_screening_notices, screen
from fencing.strength.suggested_changes import suggest_changes

Document = dict[str, Any]

TAKEOFF_SCHEMA = "takeoff-2"

MAX_POSTS_FOR_CHANGES = 200
NO_CHANGES = f"Changes are suggested for jobs of up to {MAX_POSTS_FOR_CHANGES} posts: screen a part of this one."


def write_takeoff(taken: TakeOff) -> Document:
    """Write a take-off as a document of plain values.

    Rule: ``takeoff-2.json``. Lengths and levels are integers [mm], counts and volumes are decimal texts. If the measure has a
    strength request, ``strength`` is the screening document, and its notices follow the other notices.

    Args:
        taken: the take-off.

    Returns:
        Dicts, lists, texts, integers and None; runs, posts and bays in the order of the fence.

    Source: house rule.

    Example:
        >>> from fencing.model.example_system import ROUND_SIZES, TWO_BAYS
        >>> from fencing.quantities.take_off import take_off
        >>> [post["at_mm"] for post in write_takeoff(take_off(TWO_BAYS, ROUND_SIZES))["runs"][0]["posts"]]
        [0, 2400, 4800]
    """
    written: Document = {
        "schema": TAKEOFF_SCHEMA,
        "measure_sha256": taken.measure.sha256,
        "label": taken.measure.label,
        "system": taken.system.code,
        "system_version": taken.system.version,
        "runs": [_write_run(run) for run in taken.runs],
        "retrofits": [_write_retrofit(retrofit) for retrofit in taken.retrofits],
        "pieces": [_write_piece(piece) for piece in taken.pieces],
        "quantities": [_write_quantity(quantity) for quantity in taken.quantities],
        "concrete": _write_concrete(taken.concrete),
        "notices": [_write_notice(notice) for notice in taken.notices],
    }
    if taken.measure.strength is not None:
        screening = screen(taken)
        written["strength"] = write_screening(screening, suggest_changes_if_small(screening))
        written["notices"] += [_write_notice(notice) for notice in list_screening_notices(screening)]
        if len(screening.posts) > MAX_POSTS_FOR_CHANGES:
            written["strength"]["remarks"].append(NO_CHANGES)
    return written


def suggest_changes_if_small(screening: Screening) -> tuple[SuggestedChange, ...]:
    """Return the suggested changes of a screening, or none if it has over 200 posts, because that takes too long.

    Source: house rule.

    >>> from fencing.model.example_system import IN_WIND, ROUND_SIZES
    >>> from fencing.quantities.take_off import take_off
    >>> [change.kind for change in suggest_changes_if_small(screen(take_off(IN_WIND, ROUND_SIZES)))]
    ['hole_depth']
    """
    return suggest_changes(screening) if len(screening.posts) <= MAX_POSTS_FOR_CHANGES else ()


def write_takeoff_json(taken: TakeOff) -> bytes:
    """Return the document as UTF-8 JSON; the same take-off gives the same bytes. Source: RFC 8259.

    >>> from fencing.model.example_system import ROUND_SIZES, TWO_BAYS
    >>> from fencing.quantities.take_off import take_off
    >>> write_takeoff_json(take_off(TWO_BAYS, ROUND_SIZES))[:22]
    b'{"schema":"takeoff-2",'
    """
    written = json.dumps(write_takeoff(taken), ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return f"{written}\n".encode()


def _format_litres(volume: Decimal) -> str:
    return f"{volume:.3f}"


def _write_run(run: BuiltRun) -> Document:
    return {
        "id": run.id,
        "length_mm": run.length,
        "form": run.form.value,
        "layout": run.layout.value,
        "posts": [_write_post(post) for post in run.posts],
        "bays": [_write_bay(bay) for bay in run.bays],
        "gates": [_write_gate(gate) for gate in run.gates],
        "options": [_write_option(option) for option in run.options],
    }


def _write_post(post: Post) -> Document:
    return {
        "id": post.id,
        "at_mm": post.at,
        "kind": post.kind,
        "ground_mm": post.ground,
        "hole_depth_mm": post.hole_depth,
        "uprights": [
            {
                "section": upright.section,
                "bay": upright.bay,
                "top_mm": upright.top,
                "length_mm": upright.length,
                "stock_mm": upright.stock,
                "embedment_mm": upright.embedment,
            }
            for upright in post.uprights
        ],
    }


def _write_bay(bay: Bay) -> Document:
    return {
        "id": bay.id,
        "from_mm": bay.start,
        "to_mm": bay.end,
        "form": bay.form.value,
        "step_mm": bay.step,
        "slope_deg": f"{bay.slope:.2f}",
        "base_mm": list(bay.base),
        "top_mm": list(bay.top),
        "ground_mm": list(bay.ground),
        "gap_mm": {"min": bay.gap_min, "max": bay.gap_max},
        "tapered": bay.tapered,
        "rails": _write_rails(bay.rails),
        "sheets": _write_sheets(bay.sheets),
        "lattice": _write_lattice(bay.lattice),
    }


def _write_rails(rails: Sequence[Rail]) -> list[Document]:
    return [{"position": rail.position, "length_mm": rail.length} for rail in rails]


def _write_sheets(sheets: Sequence[Sheet]) -> list[Document]:
    return [
        {
            "at_mm": sheet.at,
            "blank_mm": sheet.blank,
            "width_mm": sheet.width,
            "left_mm": sheet.left,
            "right_mm": sheet.right,
            "foot": sheet.foot,
        }
        for sheet in sheets
    ]


def _write_lattice(panels: Sequence[Lattice]) -> list[Document]:
    return [{"length_mm": panel.length, "height_mm": panel.height} for panel in panels]


def _write_gate(gate: HungGate) -> Document:
    return {
        "id": gate.id,
        "from_mm": gate.start,
        "opening_mm": gate.opening,
        "kind": str(gate.kind),
        "hinge_side": gate.hinge_side,
        "swing": gate.swing,
        "base_mm": gate.base,
        "top_mm": gate.top,
        "posts": list(gate.posts),
        "leaves": [_write_leaf(leaf) for leaf in gate.leaves],
    }


def _write_leaf(leaf: Leaf) -> Document:
    return {
        "width_mm": leaf.width,
        "height_mm": leaf.height,
        "diagonal_mm": leaf.diagonal,
        "hinge_heights_mm": list(leaf.hinges),
        "clip_mm": leaf.clip,
        "stiles_mm": list(leaf.stiles),
        "rails": _write_rails(leaf.rails),
        "sheets": _write_sheets(leaf.sheets),
        "lattice": _write_lattice(leaf.lattice),
        "notch_mm": list(leaf.notch),
        "top_notch_mm": list(leaf.top_notch),
    }


def _write_option(option: RunOption) -> Document:
    return {
        "form": option.form.value,
        "layout": option.layout.value,
        "bays": option.bays,
        "must_fix_count": option.must_fix_count,
        "cost": option.cost,
        "chosen": option.chosen,
    }


def _write_retrofit(retrofit: BuiltRetrofit) -> Document:
    return {
        "id": retrofit.id,
        "extension_mm": retrofit.extension,
        "lattice_mm": retrofit.lattice_height,
        "bays": [_write_bay(bay) for bay in retrofit.bays],
    }


def _write_piece(piece: Piece) -> Document:
    used_at = Counter(piece.used_at)
    return {
        "role": piece.role,
        "component": piece.component,
        "finish": piece.finish,
        "length_mm": piece.length,
        "width_mm": piece.width,
        "count": piece.count,
        "used_at": list(used_at),
        "used_counts": list(used_at.values()),
    }


def _write_quantity(quantity: Quantity) -> Document:
    return {
        "role": quantity.role,
        "component": quantity.component,
        "finish": quantity.finish,
        "unit": quantity.unit,
        "net": plain(quantity.net),
        "allowance": plain(quantity.allowance),
        "total": plain(quantity.total),
        "breakdown": [
            {
                "element_type": line.element_type,
                "count": line.count,
                "per_element": _format_per_element(line.per_element),
                "net": plain(line.net),
            }
            for line in quantity.breakdown
        ],
    }


def _format_per_element(number: Decimal) -> int | str:
    """Return whole pieces as a number, and fractions of a unit as text."""
    return int(number) if number == number.to_integral_value() else plain(number)


def _write_concrete(concrete: Concrete) -> Document:
    return {
        "holes": concrete.holes,
        "net_m3": _format_litres(concrete.net),
        "allowance_m3": _format_litres(concrete.allowance),
        "total_m3": _format_litres(concrete.total),
        "bags": concrete.bags,
    }


def _write_notice(notice: Notice) -> Document:
    return {"code": notice.code, "severity": notice.severity.value, "element": notice.element, "text": notice.text}
