"""Checks that a measure fits a fence system: parts for its heights, and room for gates along each run."""

from __future__ import annotations

from collections.abc import Iterator

from fencing.model.faults import Fault, InvalidDocument, join_words
from fencing.model.measure import FORMS, LAYOUTS, Form, Gate, Layout, Measure, MeasureBasis, Retrofit, Run
from fencing.model.rounding import round_up
from fencing.model.system import SheetSupply, System
from fencing.set_out.gates import find_gate_faults
from fencing.set_out.run import find_taper_faults
from fencing.set_out.segments import find_setback, halve_face, needs_square


def find_height_faults(pointer: str, height: int, lattice: int, system: System) -> Iterator[Fault]:
    """Yield the faults that prevent building a level bay or a leaf of this height [mm].

    Rule: sheet = height - lattice - deduction. The result must be positive. If sheets come from stock, the longest stock
    length must be enough.

    Source: common practice.

    Example: 1800 less 300 of lattice and a deduction of 10 is 1490, which is in stock; 2200 takes 2190, which is not:

        >>> from fencing.model.example_system import ROUND_SIZES
        >>> list(find_height_faults("/runs/0", 1800, 300, ROUND_SIZES))
        []
        >>> [fault.code for fault in find_height_faults("/runs/0", 2200, 0, ROUND_SIZES)]
        ['height.sheet']
    """
    if lattice and lattice not in system.lattice.heights:
        offered = [str(item) for item in system.lattice.heights]
        has = f"write {join_words(['0', *offered])}" if offered else "write 0: it has no lattice"
        yield Fault(f"{pointer}/lattice_mm", "lattice.height", f"the system has no lattice of {lattice} mm; {has}")
    taken = lattice + system.sheets.deduction
    longest = system.sheets.stock[-1] if system.sheets.supply is SheetSupply.STOCK else None
    if height <= taken:
        most = f" to {longest + taken}" if longest else ""
        text = f"a sheet has no length at {height} mm; write {taken + 1}{most}"
        yield Fault(f"{pointer}/height_mm", "height.sheet", text)
    elif longest is not None and height - taken > longest:
        text = (
            f"the system has no sheet of {height - taken} mm: the longest is {longest}, which makes a fence of "
            f"{longest + taken} mm; write {taken + 1} to {longest + taken}"
        )
        yield Fault(f"{pointer}/height_mm", "height.sheet", text)


MAX_BAYS = 200_000
"""Maximum bays of a job; bays count once for each form and layout that ``auto`` tries. It allows 20 km. Source: house rule."""
NO_ROOM = ("gate.narrow", "gate.outside", "gate.overlap", "layout.no_room", "run.short")
"""Codes of faults that prevent setting out the bays of a run, so that bays that taper can't be counted."""


def check_system_fit(measure: Measure, system: System) -> None:
    """Reject a measure that can't be built in a system with any layout.

    Args:
        measure: as measured [mm].
        system: the fence system it is to be built in.

    Raises:
        InvalidDocument: every height, lattice, taper and gate without parts or room, with pointers into the measure.

    Source: house rule.

    Example: a measure that fits:

        >>> from fencing.model.example_system import ROUND_SIZES, TWO_BAYS
        >>> check_system_fit(TWO_BAYS, ROUND_SIZES)
    """
    if faults := find_fit_faults(measure, system):
        raise InvalidDocument(faults)


def find_fit_faults(measure: Measure, system: System) -> list[Fault]:
    """Return the faults that :func:`check_system_fit` would raise, in the order of the measure [mm].

    Source: house rule.

    Example: the longest sheet is 2090; with a deduction of 10 it makes a fence of 2100, and no more:

        >>> from fencing.model.example_system import ROUND_SIZES
        >>> [fault.pointer for fault in find_fit_faults(Measure("High", "round", (Run("A", 4800, 2101),)), ROUND_SIZES)]
        ['/runs/0/height_mm']
    """
    faults: list[Fault] = [*_check_size(measure, system)]
    find_faults = _check_heights_and_room if faults else _check_run  # do not set out a job that is too large
    for index, run in enumerate(measure.runs):
        faults += find_faults(run, f"/runs/{index}", system)
    for index, retrofit in enumerate(measure.retrofits):
        faults += _check_retrofit(retrofit, f"/retrofits/{index}", system)
    return faults


def _check_size(measure: Measure, system: System) -> Iterator[Fault]:
    bays = sum(len(retrofit.bays) for retrofit in measure.retrofits)
    for run in measure.runs:
        ways = (len(FORMS) if run.form is Form.AUTO else 1) * (len(LAYOUTS) if run.layout is Layout.AUTO else 1)
        bays += ways * round_up(run.length, system.pitch)
    if bays > MAX_BAYS:
        text = (
            f"about {bays} bays, counted once for each form and layout that auto tries, are more than {MAX_BAYS}; "
            "split the job, or choose form and layout"
        )
        yield Fault("/runs" if measure.runs else "/retrofits", "job.large", text)


def _check_run(run: Run, pointer: str, system: System) -> list[Fault]:
    faults = list(_check_heights_and_room(run, pointer, system))
    if run.taper is None or any(fault.code in NO_ROOM for fault in faults):
        return faults
    return faults + find_taper_faults(run, system, pointer)


def _check_heights_and_room(run: Run, pointer: str, system: System) -> Iterator[Fault]:
    yield from find_height_faults(pointer, run.height, run.lattice, system)
    for number, gate in enumerate(run.gates):
        if (gate.height, gate.lattice) != (run.height, run.lattice):
            yield from find_height_faults(f"{pointer}/gates/{number}", gate.height, gate.lattice, system)
        yield from _check_hinges(gate, f"{pointer}/gates/{number}", system)
    yield from _check_taper(run, pointer, system)
    if run.gates:
        yield from find_gate_faults(run, pointer, system)
    else:
        yield from _check_length(run, pointer, system)


def _check_hinges(gate: Gate, pointer: str, system: System) -> Iterator[Fault]:
    """Check that the upper hinge of a leaf is above the lower one."""
    least = system.gates.hinge_from_bottom + system.gates.hinge_from_top + 1
    if "hinges" in gate.hardware and gate.height < least:
        text = (
            f"a leaf of {gate.height} mm is too low for its two hinges; write at least {least}, or leave the hinges out"
        )
        yield Fault(f"{pointer}/height_mm", "gate.low", text)


def _check_taper(run: Run, pointer: str, system: System) -> Iterator[Fault]:
    if run.taper is None:
        return
    least = run.lattice + system.sheets.deduction + 1
    if not least <= run.taper.height < run.height:
        text = f"{run.taper.height} is not valid; the low end must be from {least} to {run.height - 1} mm high"
        yield Fault(f"{pointer}/taper/height_mm", "taper.height", text)


def _check_length(run: Run, pointer: str, system: System) -> Iterator[Fault]:
    """Check that a run without gates has room for a rail between its two posts."""
    squares = [needs_square(run, end) for end in ("start", "end")]
    least = 1 + sum(find_setback(system, square=square) for square in squares)
    if run.basis is MeasureBasis.OUTSIDE_FACES:
        faces = [system.square.face if square else system.channel.face for square in squares]
        least += halve_face(faces[0], run.layout)[0] + halve_face(faces[1], run.layout)[1]
    if run.length < least:
        text = f"no rail fits between the posts of {run.length} mm; write at least {least}"
        yield Fault(f"{pointer}/length_mm", "run.short", text)


def _check_retrofit(retrofit: Retrofit, pointer: str, system: System) -> Iterator[Fault]:
    if retrofit.lattice not in system.lattice.heights:
        offered = join_words([str(height) for height in system.lattice.heights]) if system.lattice.heights else "none"
        text = f"the system has no lattice of {retrofit.lattice} mm; it has {offered}"
        yield Fault(f"{pointer}/lattice_mm", "lattice.height", text)
    least = 2 * system.channel.setback + 1
    for number, bay in enumerate(retrofit.bays):
        if bay < least:
            yield Fault(f"{pointer}/bays_mm/{number}", "bay.narrow", f"no rail fits; write at least {least} mm")
