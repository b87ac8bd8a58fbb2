"""How a take-off in the sizes for a pencil is read for comparing with what was reckoned by hand."""

from __future__ import annotations

from collections import Counter

from fencing.model.example_system import ROUND_SIZES
from fencing.model.measure import Measure, Retrofit, Run
from fencing.quantities.take_off import TakeOff, take_off


def reckon(*runs: Run, retrofits: tuple[Retrofit, ...] = ()) -> TakeOff:
    return take_off(Measure("Worked by hand", "round", runs, retrofits), ROUND_SIZES)


def lengths(taken: TakeOff, role: str) -> dict[int, int]:
    """Length -> how many."""
    found: Counter[int] = Counter()
    for piece in taken.pieces:
        if piece.role == role:
            found[piece.length] += piece.count
    return dict(found)


def sheets(taken: TakeOff) -> dict[tuple[int, int | None], int]:
    """(blank, width) -> how many."""
    found: Counter[tuple[int, int | None]] = Counter()
    for piece in taken.pieces:
        if piece.role == "sheet":
            found[piece.length, piece.width] += piece.count
    return dict(found)


def counted(taken: TakeOff, *roles: str) -> list[int]:
    """Net of each role, 0 where there is none."""
    return [sum(int(quantity.net) for quantity in taken.quantities if quantity.role == role) for role in roles]


def stops_and_warnings(taken: TakeOff) -> set[tuple[str, str]]:
    return {(notice.code, notice.element) for notice in taken.notices if notice.severity != "info"}
