"""Fencing engine: calculates everything a fence needs from a site measure.

    measure, system -> take_off() -> runs, bays, posts, pieces, quantities, concrete, notices

Lengths and levels are integer millimetres, levels above the job's datum. Money is Decimal, shares are exact fractions, angles
are degrees. The engine is pure: the same input gives the same output.
"""

from __future__ import annotations

from fencing.model.faults import Fault, InvalidDocument, Notice, Severity
from fencing.model.measure import Measure
from fencing.model.system import System
from fencing.quantities.take_off import TakeOff, take_off

__all__ = ["Fault", "InvalidDocument", "Measure", "Notice", "Severity", "System", "TakeOff", "take_off"]
