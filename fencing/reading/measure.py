"""Reader and writer for the site measure document (schema ``measure-2``) and :class:`fencing.model.measure.Measure`."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from fractions import Fraction
from typing import Any

from fencing.model.faults import FaultList
from fencing.model.measure import MEASURE_SCHEMA, Finishes, Gate, Measure, Retrofit, Run
from fencing.model.system import System
from fencing.reading.object_reader import ObjectReader
from fencing.reading.runs import Defaults, read_defaults, read_retrofit, read_run
from fencing.reading.strength import read_strength
from fencing.reading.strict_json import check_values, digest, write_canonical
from fencing.set_out.system_fit import find_fit_faults

KEYS = ("schema", "label", "system", "defaults", "runs", "retrofits", "strength")
MAX_RUNS = 1000
PART = re.compile(r"(.+)-P?[1-9][0-9]*")
HEIGHTS = ("height_mm", "lattice_mm")
NEEDS = {
    "height_mm": HEIGHTS,
    "lattice_mm": HEIGHTS,
    "taper": (*HEIGHTS, "taper"),
    "taper/bays": ("taper", "length_mm", "basis", "start", "end", "gates", "layout"),
    "length_mm": ("length_mm", "basis", "start", "end", "taper", "gates"),
    "gates": (*HEIGHTS, "taper", "length_mm", "basis", "start", "end", "gates"),
    "bays_mm": ("bays_mm",),
}
"""Members that the fit of a member depends on. If one of them has a fault, the fit is not reported."""


def read_measure(document: object, system: System | None = None) -> Measure:
    """Read a site measure.

    Rule: ``measure-2.json``. ``defaults`` apply to runs that leave a member out. A gate takes its run's height and lattice.

    Args:
        document: plain values, as :func:`fencing.reading.read_json` gives them; lengths and levels [mm].
        system: the fence system it is built in. If it is None, heights and room for gates are not checked; use
            :func:`fencing.set_out.system_fit.check_system_fit` later.

    Returns:
        The measure; its ``sha256`` is the digest of the canonical document.

    Raises:
        InvalidDocument: every fault of the document at once.

    Source: house rule.

    Example:
        >>> measure = read_measure({"schema": "measure-2", "label": "Rear", "system": "ribbed", "runs": [
        ...     {"id": "A", "length_mm": 9600, "height_mm": 1800, "gates": [{"from_mm": 4000, "opening_mm": 1000}]}]})
        >>> measure.runs[0].gates[0].id, measure.runs[0].gates[0].height
        ('A-G1', 1800)
    """
    document = check_values(document)
    faults = FaultList()
    table = ObjectReader(document, "", faults, KEYS)
    table.word("schema", (MEASURE_SCHEMA,))
    measure = _read_parts(table, document)
    if not table.whole_lost and not measure.runs and not measure.retrofits and table.good("runs", "retrofits"):
        faults.add("/runs", "measure.empty", "there is nothing to build; give at least one run, or one retrofit")
    _check_ids(measure, faults)
    if system is not None:
        _check_system(table, measure, system, faults)
    faults.refuse()
    return measure


def _read_parts(table: ObjectReader, document: object) -> Measure:
    defaults = read_defaults(table)
    return Measure(
        label=table.text("label", 200),
        system=table.name("system"),
        runs=tuple(_read_runs(table, defaults)),
        retrofits=tuple(
            read_retrofit(item, pointer, table.faults, defaults) for pointer, item in table.items("retrofits", MAX_RUNS)
        ),
        strength=read_strength(table.raw("strength"), "/strength", table.faults) if "strength" in table else None,
        sha256=digest(write_canonical(document)),
    )


def _read_runs(table: ObjectReader, defaults: Defaults) -> Iterator[Run]:
    for pointer, item in table.items("runs", MAX_RUNS):
        yield read_run(item, pointer, table.faults, defaults)


def _list_ids(measure: Measure) -> Iterator[tuple[str, str]]:
    """Yield every id of the measure with its pointer."""
    for index, run in enumerate(measure.runs):
        yield f"/runs/{index}/id", run.id
        for number, gate in enumerate(run.gates):
            yield f"/runs/{index}/gates/{number}/id", gate.id
    for index, retrofit in enumerate(measure.retrofits):
        yield f"/retrofits/{index}/id", retrofit.id


def _check_ids(measure: Measure, faults: FaultList) -> None:
    """Check that ids are unique, and different from the ids that posts and bays will get."""
    owners = {run.id for run in measure.runs} | {retrofit.id for retrofit in measure.retrofits}
    seen: dict[str, str] = {}
    for pointer, name in _list_ids(measure):
        if not name:
            continue
        if name in seen:
            faults.add(pointer, "id.twice", f"{name} is already the id at {seen[name]}; give each its own id")
        seen.setdefault(name, pointer)
        part = PART.fullmatch(name)
        if part and part.group(1) in owners:
            text = f"{name} is the id of a bay or post of {part.group(1)}; choose another id"
            faults.add(pointer, "id.taken", text)


def _check_system(table: ObjectReader, measure: Measure, system: System, faults: FaultList) -> None:
    if table.good("system") and measure.system != system.code:
        text = f"the measure is for {measure.system}, the system given is {system.code}; they must be the same"
        table.fault("system", "system.mismatch", text)
    spoilt = [fault.pointer for fault in faults.found if fault.code in ("type", "range", "missing", "word", "number")]
    if any(pointer.startswith("/defaults") for pointer in spoilt):
        return
    unfit = find_fit_faults(measure, system)
    for fault in unfit:
        if not _is_beside_fault(fault.pointer, spoilt):
            faults.add(fault.pointer, fault.code, fault.text)


def _is_beside_fault(pointer: str, spoilt: Sequence[str]) -> bool:
    """Return whether a member that this fault depends on has a fault already."""
    if pointer.count("/") == 1:  # of the whole job
        return bool(spoilt)
    _, rows, number, member, *inner = pointer.split("/")
    row = f"/{rows}/{number}"
    needed = {f"{row}/{key}" for key in NEEDS.get("/".join([member, *inner]), NEEDS[member])}
    return any(bad == row or "/".join(bad.split("/")[:4]) in needed for bad in spoilt)


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
