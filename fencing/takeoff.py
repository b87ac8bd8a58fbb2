"""The take-off: everything a measured job needs, counted, with the reason for each number."""

from __future__ import annotations

from dataclasses import dataclass

from fencing.faults import Notice
from fencing.fence import BuiltRetrofit, BuiltRun
from fencing.measure import Measure
from fencing.piece import Concrete, Piece, Quantity
from fencing.system import System


@dataclass(frozen=True, slots=True)
class TakeOff:
    """The counted list of everything the job needs. Reads in the order of the measure."""

    measure: Measure
    system: System
    runs: tuple[BuiltRun, ...]
    retrofits: tuple[BuiltRetrofit, ...]
    pieces: tuple[Piece, ...]
    quantities: tuple[Quantity, ...]
    concrete: Concrete
    notices: tuple[Notice, ...]
