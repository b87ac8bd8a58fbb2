"""Checks that a fence system has sheets and lattice for a height."""

from __future__ import annotations

from collections.abc import Iterator

from fencing.model.fault_list import listed
from fencing.model.faults import Fault
from fencing.model.system import SheetSupply, System


def height_faults(pointer: str, height: int, lattice: int, system: System) -> Iterator[Fault]:
    """Yield the faults that prevent building a level bay or a leaf of this height [mm].

    Rule: sheet = height - lattice - deduction. The result must be positive. If sheets come from stock, the longest stock
    length must be enough.

    Source: common practice.

    Example: 1800 less 300 of lattice and a deduction of 10 is 1490, which is in stock; 2200 takes 2190, which is not:

        >>> from fencing.model.example_system import ROUND_SIZES
        >>> list(height_faults("/runs/0", 1800, 300, ROUND_SIZES))
        []
        >>> [fault.code for fault in height_faults("/runs/0", 2200, 0, ROUND_SIZES)]
        ['height.sheet']
    """
    if lattice and lattice not in system.lattice.heights:
        offered = [str(item) for item in system.lattice.heights]
        has = f"write {listed(['0', *offered])}" if offered else "write 0: it has no lattice"
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
