"""A levelling book as its page shows it: every reading reduced, and the arithmetic that proves it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from fencing.model.faults import InvalidDocument
from fencing.set_out.level_book import BookRow, LevelBook, reduce_book
from shared.common.typed_entries import metres


@dataclass(frozen=True, slots=True)
class ReducedReading:
    """One row in metres: ``rise`` is a fall where it is negative, and empty on the first."""

    at: str
    sight: str
    rise: str
    level: str
    adjusted: str


@dataclass(frozen=True, slots=True)
class Reduction:
    rows: tuple[ReducedReading, ...]
    sums: str
    checks: bool
    closing: str
    closes: bool


def reduction_of(entries: Any) -> Reduction | None:
    """Return the reduced level book, or None if it has errors, which are shown at the fields.

    >>> station = {"at_mm": 0, "intermediate_m": Decimal("1.210")}
    >>> book = [{"backsight_m": Decimal("1.452")}, station, {"foresight_m": Decimal("0.933")}]
    >>> reduction = reduction_of(book)
    >>> [(row.sight, row.rise, row.level) for row in reduction.rows]
    [('1.452', '', '0.000'), ('1.210', '+0.242', '0.242'), ('0.933', '+0.277', '0.519')]
    >>> reduction.checks
    True
    >>> reduction.sums
    'Backsights 1.452 minus foresights 0.933 is 0.519; rises 0.519 minus falls 0.000 is 0.519; last level minus first is 0.519.'
    """
    if not isinstance(entries, list) or not all(isinstance(row, Mapping) for row in entries):
        return None
    try:
        book = reduce_book(entries)
    except InvalidDocument:
        return None
    rows = tuple(
        ReducedReading(
            at="" if row.row.at is None else metres(row.row.at),
            sight=" / ".join(f"{reading:.3f}" for reading in _readings(row.row) if reading is not None),
            rise="" if row.rise is None else f"{row.rise:+.3f}",
            level=metres(row.level),
            adjusted=metres(row.adjusted),
        )
        for row in book.rows
    )
    return Reduction(rows, _sums(book), book.checks, _closing(book), book.closes_well)


def _readings(row: BookRow) -> tuple[Decimal | None, ...]:
    return row.intermediate_m, row.foresight_m, row.backsight_m


def _sums(book: LevelBook) -> str:
    moved = book.rows[-1].level - book.rows[0].level
    return (
        f"Backsights {book.sum_back:.3f} minus foresights {book.sum_fore:.3f} is {book.sum_back - book.sum_fore:.3f}; "
        f"rises {book.sum_rise:.3f} minus falls {book.sum_fall:.3f} is {book.sum_rise - book.sum_fall:.3f}; "
        f"last level minus first is {Decimal(moved) / 1000:.3f}."
    )


def _closing(book: LevelBook) -> str:
    if book.misclosure is None:
        return "The book does not end on a benchmark, so the readings cannot be checked."
    if book.misclosure == 0:
        return "Closes on the benchmark exactly."
    return f"Misclosure {abs(book.misclosure)} mm, distributed over the set-ups."
