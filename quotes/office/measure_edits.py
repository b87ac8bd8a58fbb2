"""Edits to a measure document made by the buttons of the measure page."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from string import ascii_uppercase
from typing import Any

from fencing.quantities.take_off import TakeOff

Document = dict[str, Any]
MAX_RUNS = 1000
OPENING = 1000
"""Fields of a gate that is added by a tap on a bay [mm]."""
CORNER_TURN_DEG = 90
"""Fields of a run that is added at a corner. The page adds the same run without a connection."""


def apply_edit(document: Document, action: str, taken: TakeOff | None = None) -> bool:
    """Apply the edit ``verb:argument``. Return False if the verb is unknown."""
    verb, _, argument = action.partition(":")
    if verb == "gate-in":
        _gate_in(document, argument, taken)
    elif verb in _ACTS:
        _ACTS[verb](document, argument)
    else:
        return False
    return True


def next_id(taken: set[str], letters: str = ascii_uppercase) -> str:
    """Return the first free name of A to Z, then A2, B2 and so on.

    >>> next_id({"A", "B"}), next_id(set(ascii_uppercase))
    ('C', 'A2')
    """
    number = 1
    while True:
        for letter in letters:
            name = letter if number == 1 else f"{letter}{number}"
            if name not in taken:
                return name
        number += 1


def _ids(document: Mapping[str, Any]) -> set[str]:
    rows = [*document.get("runs", []), *document.get("retrofits", [])]
    return {str(row.get("id")) for row in rows}


def _add_run(document: Document, argument: str) -> None:
    """Add a run after the last one, at a corner if ``argument`` asks for it."""
    runs = document.setdefault("runs", [])
    if len(runs) >= MAX_RUNS:
        return
    run: Document = {"id": next_id(_ids(document))}
    if argument == "corner" and runs:
        runs[-1]["end"] = "corner"
        run |= {"start": "corner", "turn_deg": CORNER_TURN_DEG}
    runs.append(run)


def _at(rows: Any, argument: str) -> int | None:
    place = int(argument) if argument.isascii() and argument.isdigit() and len(argument) < 6 else -1
    return place if isinstance(rows, list) and 0 <= place < len(rows) else None


def _run_of(document: Document, argument: str) -> Document | None:
    place = _at(document.get("runs"), argument)
    return None if place is None else document["runs"][place]


def _drop_run(document: Document, argument: str) -> None:
    place = _at(document.get("runs"), argument)
    if place is None:
        return
    runs = document["runs"]
    gone = runs.pop(place)
    if gone.get("start") == "corner" and 0 < place == len(runs):
        runs[-1].pop("end", None)
    if gone.get("end") == "corner" and place == 0 and runs:
        runs[0].pop("start", None)


def _add_to(kind: str, row: Callable[[], Any]) -> Callable[[Document, str], None]:
    """Return the edit that adds a row to one of the lists of a run."""

    def add(document: Document, argument: str) -> None:
        run = _run_of(document, argument)
        if run is not None:
            run.setdefault(kind, []).append(row())

    return add


def _gate_in(document: Document, bay: str, taken: TakeOff | None) -> None:
    """Add a gate where the drawing was tapped, at the start of that bay."""
    for place, built in enumerate(taken.runs if taken else ()):
        found = next((item for item in built.bays if item.id == bay), None)
        if found is not None and taken is not None:
            start = found.start + taken.system.square.face
            document["runs"][place].setdefault("gates", []).append({"from_mm": start, "opening_mm": OPENING})
            return


def _drop_of(kind: str) -> Callable[[Document, str], None]:
    def drop(document: Document, argument: str) -> None:
        where, _, which = argument.partition("/")
        run = _run_of(document, where)
        place = _at(run.get(kind), which) if run else None
        if run is not None and place is not None:
            del run[kind][place]
            if not run[kind]:
                del run[kind]

    return drop


def _add_retrofit(document: Document, argument: str) -> None:
    rows = document.setdefault("retrofits", [])
    rows.append({"id": next_id(_ids(document), "R")})


def _drop_retrofit(document: Document, argument: str) -> None:
    place = _at(document.get("retrofits"), argument)
    if place is not None:
        del document["retrofits"][place]
        if not document["retrofits"]:
            del document["retrofits"]


def _build(document: Document, argument: str) -> None:
    """Use a build option: ``0/stepped/even``."""
    where, form, layout = [*argument.split("/"), "", ""][:3]
    run = _run_of(document, where)
    if run is not None and form and layout:
        run |= {"form": form, "layout": layout}


def _meet(document: Document, argument: str) -> None:
    """Move every level of a run by a number of mm: ``1=-540``."""
    where, _, text = argument.partition("=")
    run = _run_of(document, where)
    if run is None or not re.fullmatch(r"-?\d{1,6}", text):
        return
    by = int(text)
    for row in run.get("levels", []):
        if isinstance(row, list) and len(row) == 2 and isinstance(row[1], int):
            row[1] += by
    # the benchmark levels of a level book; a first row without a level is at 0
    for place, row in enumerate(row for row in run.get("book", []) if isinstance(row, dict)):
        known = row.get("level_mm", 0 if place == 0 else None)
        if isinstance(known, int):
            row["level_mm"] = known + by


_ACTS: dict[str, Callable[[Document, str], None]] = {
    "add-run": _add_run,
    "drop-run": _drop_run,
    "add-gate": _add_to("gates", lambda: {"opening_mm": OPENING}),
    "drop-gate": _drop_of("gates"),
    "add-station": _add_to("levels", lambda: [None, None]),
    "drop-station": _drop_of("levels"),
    "add-reading": _add_to("book", dict),
    "drop-reading": _drop_of("book"),
    "add-retrofit": _add_retrofit,
    "drop-retrofit": _drop_retrofit,
    "build": _build,
    "meet": _meet,
    "fix": lambda document, argument: None,
    "show": lambda document, argument: None,
}
