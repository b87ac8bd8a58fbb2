"""Reader for the ground along a run: stations, or a levelling book."""

from __future__ import annotations

from decimal import Decimal

from fencing.model.fault_list import shown
from fencing.model.faults import InvalidDocument
from fencing.model.measure import Station
from fencing.reading.object_reader import LONGEST, ObjectReader
from fencing.set_out.level_book import reduce_book

MAX_STATIONS = 2_000
HIGHEST = 10_000_000
"""Levels are within 10 km of the datum [mm]."""


def read_levels(run: ObjectReader, length: int) -> tuple[tuple[Station, ...], int]:
    """Read the stations in order of chainage, and the misclosure of a levelling book if it is too large [mm].

    There are no stations if the ground was not levelled. The misclosure is 0 if it is within the usual limit.

    Source: house rule.

    >>> from fencing.model.fault_list import FaultList
    >>> run = ObjectReader({"levels": [[0, 0], [6000, -120]]}, "/runs/0", FaultList(), ("levels", "length_mm"))
    >>> read_levels(run, 6000)
    ((Station(at=0, level=0), Station(at=6000, level=-120)), 0)
    """
    if "levels" in run and "book" in run:
        run.fault("book", "levels.both", "give the levels or the levelling book they come from, not both")
        return (), 0
    if "book" in run:
        return _from_book(run, length)
    return _from_stations(run, length), 0


def _from_stations(run: ObjectReader, length: int) -> tuple[Station, ...]:
    stations: list[Station] = []
    for pointer, item in run.items("levels", MAX_STATIONS):
        pair = _pair(item)
        if pair is None:
            run.faults.add(pointer, "type", _no_pair(item))
            continue
        at, level = pair
        if not -HIGHEST <= level <= HIGHEST:
            run.faults.add(f"{pointer}/1", "range", f"a level is from {-HIGHEST} to {HIGHEST} mm")
        if not 0 <= at <= LONGEST:
            run.faults.add(f"{pointer}/0", "range", f"a chainage is from 0 to {LONGEST} mm")
            continue
        if stations and at <= stations[-1].at:
            text = f"{at} comes after {stations[-1].at}; chainages increase along the run"
            run.faults.add(f"{pointer}/0", "levels.order", text)
        stations.append(Station(at, level))
        _within(run, f"{pointer}/0", at, length)
    return tuple(stations)


def _pair(item: object) -> tuple[int, int] | None:
    """Return (chainage, level), or None if the item is not a list of two whole numbers."""
    if not isinstance(item, list) or len(item) != 2 or not all(type(number) is int for number in item):
        return None
    at, level = item
    return at, level


def _no_pair(item: object) -> str:
    metres = isinstance(item, list) and all(isinstance(entry, int | Decimal) for entry in item)
    text = f"{shown(item)} is not valid here; write [chainage, level] in whole mm, as [6000, -120]"
    return text + ("; are they in m? 6 m is 6000 mm" if metres else "")


def _from_book(run: ObjectReader, length: int) -> tuple[tuple[Station, ...], int]:
    pointer = run.pointer("book")
    if run.faults.full:
        return (), 0
    try:
        book = reduce_book(run.raw("book"))
    except InvalidDocument as refused:
        for fault in refused.faults:
            run.faults.add(pointer + fault.pointer, fault.code, fault.text)
        return (), 0
    for number, row in enumerate(book.rows):
        if row.row.at is not None:
            _within(run, f"{pointer}/{number}/at_mm", row.row.at, length)
    return book.stations, 0 if book.closes_well else book.misclosure or 0


def _within(run: ObjectReader, pointer: str, at: int, length: int) -> None:
    if run.good("length_mm") and at > length:
        run.faults.add(pointer, "levels.beyond", f"{at} is beyond the end of the run; write 0 to {length}")
