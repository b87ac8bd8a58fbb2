"""Levelling book: reduction by rise and fall, with arithmetic checks.

A book is a list of rows in the order of reading the staff. Readings are in metres, as exact decimals:

    {"backsight_m": 1.452}                   first row: the job's datum or another known level, seen from the first set-up
    {"at_mm": 0, "intermediate_m": 1.210}    a point of the run, between the first and last reading of a set-up
    {"at_mm": 6000, "foresight_m": 0.9, "backsight_m": 1.3}   a change point: last reading of one set-up, first of the next
    {"foresight_m": 0.933}                   last row; if "level_mm" states its level, the book closes on it

Rows with ``at_mm`` are stations of the run. A staff held upside down (under a branch, a beam) is a negative reading.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from difflib import get_close_matches
from fractions import Fraction
from itertools import pairwise

from fencing.model.faults import Fault, InvalidDocument
from fencing.model.measure import Station
from fencing.model.rounding import round_half_up

KEYS = ("at_mm", "backsight_m", "intermediate_m", "foresight_m", "level_mm")
READINGS = ("backsight_m", "intermediate_m", "foresight_m")
READING_TEXT = re.compile(r"-?[0-9]{1,2}(\.[0-9]{1,9})?")
ROWS_MAX = 2000
HINTS_MAX = 500
ZERO = Decimal(0)
READING_MAX = Decimal(10)  # [m] no staff is longer: a larger reading is probably in another unit
LENGTH_MAX = 20_000_000  # [mm] the longest run
MISCLOSURE_MAX = 100  # [mm] above this a reading is wrong, and distributing the difference would hide it
MISCLOSURE_PER_ROOT_SETUP = 5  # [mm] allowed for each root of the number of set-ups: common practice


@dataclass(frozen=True, slots=True)
class BookRow:
    """Row of a book as entered. Readings in metres, levels in integer mm; ``at`` is the chainage of a station, or None."""

    at: int | None
    backsight_m: Decimal | None = None
    intermediate_m: Decimal | None = None
    foresight_m: Decimal | None = None
    known: int | None = None


@dataclass(frozen=True, slots=True)
class ReducedRow:
    """Reduced row. ``rise`` [m] is from the reading before it in the same set-up (negative: a fall); None on the first row.

    ``level`` and ``adjusted`` are mm above the datum, half-up; they differ only if the book closes on a known level.
    """

    row: BookRow
    setup: int
    rise: Decimal | None
    level: int
    adjusted: int


@dataclass(frozen=True, slots=True)
class LevelBook:
    """Reduced book: rows in reading order, stations in order of chainage, and the sums of the arithmetic check [m].

    ``misclosure`` is computed less known level of the last row [mm], or None if that is not known.
    """

    rows: tuple[ReducedRow, ...]
    stations: tuple[Station, ...]
    setups: int
    sum_back: Decimal
    sum_fore: Decimal
    sum_rise: Decimal
    sum_fall: Decimal
    misclosure: int | None

    @property
    def checks(self) -> bool:
        """Return whether the sums agree: backsights less foresights, rises less falls, last level less first [1 mm].

        Source: any surveying textbook.

        Example: from the first point to the last the ground rises by 1.452 - 0.933 [m]:

            >>> station = {"at_mm": 0, "intermediate_m": Decimal("1.21")}
            >>> book = [{"backsight_m": Decimal("1.452")}, station, {"foresight_m": Decimal("0.933")}]
            >>> reduce_book(book).checks
            True
        """
        change = self.sum_back - self.sum_fore
        by_level = self.rows[-1].level - self.rows[0].level
        return change == self.sum_rise - self.sum_fall and abs(change * 1000 - by_level) <= 1

    @property
    def closes_well(self) -> bool:
        """Return whether the misclosure [mm], if known, is within 5 mm times the root of the number of set-ups.

        Source: common practice.

        Example: the computed level is 519 and the known level is 526, so the misclosure is 7 mm in one set-up:

            >>> book = [{"backsight_m": Decimal("1.452")}, {"at_mm": 0, "intermediate_m": Decimal("1.21")}]
            >>> reduce_book([*book, {"foresight_m": Decimal("0.933"), "level_mm": 526}]).closes_well
            False
        """
        return self.misclosure is None or self.misclosure**2 <= MISCLOSURE_PER_ROOT_SETUP**2 * self.setups


def reduce_book(entries: object) -> LevelBook:
    """Reduce a levelling book by rise and fall.

    Rule: within one set-up the rise of a point is the reading before it less its own. A rise never crosses a change point.
    If the last row's level is known, the misclosure is distributed over the points in proportion to their set-up.

    Args:
        entries: the book, a list of rows as described above. Readings [m, -10 to 10], exact decimals. Without
            ``level_mm`` the first row is on the datum.

    Returns:
        The reduced book; its stations carry the adjusted levels [integer mm, half-up].

    Raises:
        InvalidDocument: every fault of the book at once, with pointers relative to the book (``/3/backsight_m``).

    Source: common practice; arithmetic checks as in any surveying textbook (sum BS - sum FS = sum rise - sum fall =
    last level - first level). Distribution by set-ups: common practice.

    Example:
        >>> book = reduce_book([{"backsight_m": Decimal("1.452")}, {"at_mm": 0, "intermediate_m": Decimal("1.210")},
        ...                     {"at_mm": 9000, "intermediate_m": Decimal("1.660")}, {"foresight_m": Decimal("0.933")}])
        >>> [(station.at, station.level) for station in book.stations], book.checks
        ([(0, 242), (9000, -208)], True)
    """
    rows = _read(entries)
    start = rows[0].known or 0
    exact = list(_calculate_levels(rows, start))
    setups = exact[-1][0]
    misclosure = _find_misclosure(rows, exact[-1][2])
    reduced = tuple(
        _build_reduced_row(row, setup, rise, level, Fraction(misclosure or 0) * setup / setups)
        for row, (setup, rise, level) in zip(rows, exact, strict=True)
    )
    rises = [row.rise for row in reduced if row.rise is not None]
    return LevelBook(
        rows=reduced,
        stations=tuple(Station(row.row.at, row.adjusted) for row in reduced if row.row.at is not None),
        setups=setups,
        sum_back=_add_readings(row.backsight_m for row in rows),
        sum_fore=_add_readings(row.foresight_m for row in rows),
        sum_rise=_add_readings(rise for rise in rises if rise > 0),
        sum_fall=-_add_readings(rise for rise in rises if rise < 0),
        misclosure=misclosure,
    )


def _add_readings(readings: Iterable[Decimal | None]) -> Decimal:
    return sum((reading for reading in readings if reading is not None), ZERO)


def _find_misclosure(rows: Sequence[BookRow], closing: Fraction) -> int | None:
    """Return computed less known level of the last row [mm], or None if that is not known.

    Raises:
        InvalidDocument: the misclosure is so large that a reading must be wrong.
    """
    known = rows[-1].known
    if known is None:
        return None
    missed = round_half_up(*closing.as_integer_ratio()) - known
    if abs(missed) > MISCLOSURE_MAX:
        text = f"the book misses the known level by {missed} mm: read it again, a reading is wrong"
        raise InvalidDocument([Fault(f"/{len(rows) - 1}/level_mm", "book.misclosure", text)])
    return missed


def _calculate_levels(rows: Sequence[BookRow], start: int) -> Iterator[tuple[int, Decimal | None, Fraction]]:
    """Yield set-up (0 for the first row), rise and exact level [mm] of every row."""
    level, before = Fraction(start), rows[0].backsight_m
    yield 0, None, level
    setup = 1
    for row in rows[1:]:
        seen = row.intermediate_m if row.foresight_m is None else row.foresight_m
        rise = (before or ZERO) - (seen or ZERO)  # never None: _read rejects a row without a reading
        level += Fraction(rise) * 1000
        yield setup, rise, level
        before = seen if row.backsight_m is None else row.backsight_m
        setup += row.backsight_m is not None


def _build_reduced_row(
    row: BookRow, setup: int, rise: Decimal | None, level: Fraction, correction: Fraction
) -> ReducedRow:
    adjusted = level - correction
    return ReducedRow(
        row, setup, rise, round_half_up(*level.as_integer_ratio()), round_half_up(*adjusted.as_integer_ratio())
    )


def _read(entries: object) -> list[BookRow]:
    if not isinstance(entries, Sequence) or isinstance(entries, str) or not 2 <= len(entries) <= ROWS_MAX:
        raise InvalidDocument([Fault("", "book.rows", f"a levelling book is a list of 2 to {ROWS_MAX} rows")])
    faults: list[Fault] = []
    rows = [_read_row(entry, f"/{number}", faults) for number, entry in enumerate(entries)]
    last = len(rows) - 1
    for number, row in enumerate(rows):
        if not any(fault.pointer.startswith(f"/{number}/") or fault.pointer == f"/{number}" for fault in faults):
            faults += _check_position(row, number, last)
    faults += _check_chainages(rows)
    if faults:
        raise InvalidDocument(faults)
    return rows


def _read_row(entry: object, pointer: str, faults: list[Fault]) -> BookRow:
    if not isinstance(entry, Mapping):
        faults.append(Fault(pointer, "type", 'a row is an object such as {"at_mm": 0, "intermediate_m": 1.210}'))
        return BookRow(None)
    for key in entry:
        if key not in KEYS:
            near = get_close_matches(str(key)[:80], KEYS, 1) if len(faults) < HINTS_MAX else []
            hint = f"did you mean {near[0]}?" if near else f"a row has {', '.join(KEYS)}"
            faults.append(Fault(f"{pointer}/{key}", "key.unknown", f"unknown key {key}: {hint}"))
    at = _read_whole(entry, "at_mm", 0, LENGTH_MAX, pointer, faults)
    known = _read_whole(entry, "level_mm", -10_000_000, 10_000_000, pointer, faults)
    backsight, intermediate, foresight = (_read_staff(entry, key, pointer, faults) for key in READINGS)
    return BookRow(at, backsight, intermediate, foresight, known)


def _read_whole(
    entry: Mapping[str, object], key: str, least: int, most: int, pointer: str, faults: list[Fault]
) -> int | None:
    value = entry.get(key)
    if value is None:
        return None
    if isinstance(value, Decimal) and value.is_finite() and value == value.to_integral_value():
        value = int(value)
    if isinstance(value, bool) or not isinstance(value, int) or not least <= value <= most:
        faults.append(Fault(f"{pointer}/{key}", "number", f"{key} is a whole number of mm from {least} to {most}"))
        return None
    return value


def _read_staff(entry: Mapping[str, object], key: str, pointer: str, faults: list[Fault]) -> Decimal | None:
    value = entry.get(key)
    if value is None:
        return None
    if isinstance(value, str) and READING_TEXT.fullmatch(value):
        value = Decimal(value)
    if isinstance(value, bool) or not isinstance(value, int | float | Decimal):
        faults.append(Fault(f"{pointer}/{key}", "type", "a staff reading is a number of metres, such as 1.452"))
        return None
    reading = Decimal(str(value))
    if not reading.is_finite():
        faults.append(Fault(f"{pointer}/{key}", "number", "a staff reading is a finite number of metres"))
    elif abs(reading) > READING_MAX:
        text = f"no staff is {reading} m long: is this in millimetres? Give metres, such as {reading / 1000}"
        faults.append(Fault(f"{pointer}/{key}", "unit", text))
    else:
        return reading
    return None


def _check_position(row: BookRow, number: int, last: int) -> Iterator[Fault]:
    """Check that the readings of a row suit its position in the book."""
    read = tuple(key for key in READINGS if getattr(row, key) is not None)
    pointer = f"/{number}"
    if number == 0 and read != ("backsight_m",):
        yield Fault(pointer, "book.first", "the first row is a backsight alone, on the datum or another known level")
    elif number == last and read != ("foresight_m",):
        yield Fault(pointer, "book.last", "the last row is a foresight alone, so that the book can be checked")
    elif 0 < number < last and read not in (("intermediate_m",), ("backsight_m", "foresight_m")):
        yield Fault(
            pointer, "book.row", "a row between is one intermediate sight, or a change point's foresight and backsight"
        )
    if row.known is not None and 0 < number < last:
        yield Fault(f"{pointer}/level_mm", "book.known", "a known level belongs to the first or the last row")


def _check_chainages(rows: Sequence[BookRow]) -> Iterator[Fault]:
    stations = [(number, row.at) for number, row in enumerate(rows) if row.at is not None]
    if not stations:
        yield Fault("", "book.stations", "at least one row needs at_mm: its chainage along the run")
    for (_, before), (number, at) in pairwise(stations):
        if at <= before:
            yield Fault(f"/{number}/at_mm", "order", f"chainages increase down the book: {at} comes after {before}")
