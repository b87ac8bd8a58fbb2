"""Writer for the site measure document with every default filled in, so that papers need no defaults of their own."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from typing import Any

from fencing.model.measure import MEASURE_SCHEMA, Finishes, Gate, Measure, Retrofit, Run

Document = dict[str, Any]

PARTS = ("post", "rail", "sheet", "lattice", "cap", "screw", "gate")


def write_measure(measure: Measure) -> Document:
    """Write a measure as a document in which each run, gate and retrofit has all its members.

    Rule: ``measure-2.json`` without ``defaults``: they are filled in. A levelling book is written as the levels it gives.
    A member is left out only if it has no value: soil, taper, existing fence, shares, height of an existing fence.

    Args:
        measure: the measure as read [lengths and levels in mm].

    Returns:
        Dicts, lists, texts and integers. Reading the document gives the same measure.

    Source: house rule.

    Example: a run with only a length and a height:

        >>> run = Run("A", 9600, 1800)
        >>> write_measure(Measure("Rear", "ribbed", (run,)))["runs"][0]["layout"]
        'from_start'
    """
    written: Document = {
        "schema": MEASURE_SCHEMA,
        "label": measure.label,
        "system": measure.system,
        "runs": [_write_run(run) for run in measure.runs],
        "retrofits": [_write_retrofit(retrofit) for retrofit in measure.retrofits],
    }
    if measure.strength is not None:
        written["strength"] = {"method": measure.strength.method, **measure.strength.inputs}
    return written


def _write_run(run: Run) -> Document:
    return {
        "id": run.id,
        "length_mm": run.length,
        "basis": run.basis.value,
        "turn_deg": _format_decimal(run.turn),
        "start": run.start.value,
        "end": run.end.value,
        "levels": [[station.at, station.level] for station in run.levels],
        "height_mm": run.height,
        "lattice_mm": run.lattice,
        "form": run.form.value,
        "layout": run.layout.value,
        "finishes": _write_finishes(run.finishes),
        "gates": [_write_gate(gate) for gate in run.gates],
        **_write_optional(run),
    }


def _write_optional(run: Run) -> Document:
    """Write the optional members of a run."""
    written = _write_shares(run.shares)
    if run.soil is not None:
        written["soil"] = run.soil
    if run.taper is not None:
        written["taper"] = {"at": run.taper.at, "bays": run.taper.bays, "height_mm": run.taper.height}
    if run.existing_fence is not None:
        written["existing_fence"] = {"kind": run.existing_fence.kind, "length_mm": run.existing_fence.length}
    return written


def _write_gate(gate: Gate) -> Document:
    return {
        "id": gate.id,
        "from_mm": gate.start,
        "opening_mm": gate.opening,
        "kind": gate.kind.value,
        "hinge_side": gate.hinge_side,
        "swing": gate.swing,
        "height_mm": gate.height,
        "lattice_mm": gate.lattice,
        "hardware": list(gate.hardware),
    }


def _write_retrofit(retrofit: Retrofit) -> Document:
    existing = {} if retrofit.existing_height is None else {"existing_height_mm": retrofit.existing_height}
    return {
        "id": retrofit.id,
        "bays_mm": list(retrofit.bays),
        "lattice_mm": retrofit.lattice,
        "finishes": _write_finishes(retrofit.finishes),
        **existing,
        **_write_shares(retrofit.shares),
    }


def _write_finishes(finishes: Finishes) -> dict[str, str]:
    return {part: getattr(finishes, part) for part in PARTS if getattr(finishes, part) is not None}


def _write_shares(shares: Mapping[str, Fraction]) -> Document:
    return {"shares": {party: str(share) for party, share in shares.items()}} if shares else {}


def _format_decimal(number: Fraction) -> str:
    """Write a number of at most 9 decimal places exactly.

    >>> _format_decimal(Fraction(-91, 2)), _format_decimal(Fraction(90)), _format_decimal(Fraction(-1, 4))
    ('-45.5', '90', '-0.25')
    """
    sign, scaled = "-" if number < 0 else "", int(abs(number) * 10**9)
    whole, part = divmod(scaled, 10**9)
    return f"{sign}{whole}.{part:09}".rstrip("0").rstrip(".") if part else f"{sign}{whole}"
