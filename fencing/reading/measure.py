"""Reader for the site measure document (schema ``measure-2``): makes a :class:`fencing.model.measure.Measure`."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from fencing.model.faults import FaultList
from fencing.model.measure import MEASURE_SCHEMA, Measure, Run
from fencing.model.system import System
from fencing.reading.canonical_json import digest, write_canonical
from fencing.reading.json_reader import check_values
from fencing.reading.object_reader import ObjectReader
from fencing.reading.runs import Defaults, read_defaults, read_retrofit, read_run
from fencing.reading.strength import read_strength
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
    measure = _measure(table, document)
    if not table.whole_lost and not measure.runs and not measure.retrofits and table.good("runs", "retrofits"):
        faults.add("/runs", "measure.empty", "there is nothing to build; give at least one run, or one retrofit")
    _check_ids(measure, faults)
    if system is not None:
        _check_system(table, measure, system, faults)
    faults.refuse()
    return measure


def _measure(table: ObjectReader, document: object) -> Measure:
    defaults = read_defaults(table)
    return Measure(
        label=table.text("label", 200),
        system=table.name("system"),
        runs=tuple(_runs(table, defaults)),
        retrofits=tuple(
            read_retrofit(item, pointer, table.faults, defaults) for pointer, item in table.items("retrofits", MAX_RUNS)
        ),
        strength=read_strength(table.raw("strength"), "/strength", table.faults) if "strength" in table else None,
        sha256=digest(write_canonical(document)),
    )


def _runs(table: ObjectReader, defaults: Defaults) -> Iterator[Run]:
    for pointer, item in table.items("runs", MAX_RUNS):
        yield read_run(item, pointer, table.faults, defaults)


def _named_ids(measure: Measure) -> Iterator[tuple[str, str]]:
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
    for pointer, name in _named_ids(measure):
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
    spoilt = [fault.pointer for fault in faults.found if _spoils(fault.code)]
    if any(pointer.startswith("/defaults") for pointer in spoilt):
        return
    unfit = find_fit_faults(measure, system)
    for fault in unfit:
        if not _beside(fault.pointer, spoilt):
            faults.add(fault.pointer, fault.code, fault.text)


def _spoils(code: str) -> bool:
    return code in ("type", "range", "missing", "word", "number")


def _beside(pointer: str, spoilt: Sequence[str]) -> bool:
    """Return whether a member that this fault depends on has a fault already."""
    if pointer.count("/") == 1:  # of the whole job
        return bool(spoilt)
    _, rows, number, member, *inner = pointer.split("/")
    row = f"/{rows}/{number}"
    needed = {f"{row}/{key}" for key in NEEDS.get("/".join([member, *inner]), NEEDS[member])}
    return any(found == row or "/".join(found.split("/")[:4]) in needed for found in spoilt)
