"""Parts of a take-off in round sizes, to compare with a calculation by hand."""

from __future__ import annotations

from collections import Counter

from fencing.model.example_system import ROUND_SIZES
from fencing.model.measure import Measure, Retrofit, Run
from fencing.quantities.take_off import TakeOff, take_off


def take_off_runs(*runs: Run, retrofits: tuple[Retrofit, ...] = ()) -> TakeOff:
    return take_off(Measure("Worked by hand", "round", runs, retrofits), ROUND_SIZES)


def lengths(takeoff: TakeOff, role: str) -> dict[int, int]:
    """Length -> how many."""
    found: Counter[int] = Counter()
    for piece in takeoff.pieces:
        if piece.role == role:
            found[piece.length] += piece.count
    return dict(found)


def sheets(takeoff: TakeOff) -> dict[tuple[int, int | None], int]:
    """(blank, width) -> how many."""
    found: Counter[tuple[int, int | None]] = Counter()
    for piece in takeoff.pieces:
        if piece.role == "sheet":
            found[piece.length, piece.width] += piece.count
    return dict(found)


def counted(takeoff: TakeOff, *roles: str) -> list[int]:
    """Net of each role, 0 where there is none."""
    return [sum(int(quantity.net) for quantity in takeoff.quantities if quantity.role == role) for role in roles]


def stops_and_warnings(takeoff: TakeOff) -> set[tuple[str, str]]:
    return {(notice.code, notice.element) for notice in takeoff.notices if notice.severity != "info"}
