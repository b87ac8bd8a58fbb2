"""From the fields of the measure sheet to a site measure document. Field names are the document's own pointers.

What can't be read stays in the document as the text it was: the engine refuses it with a pointer to that very field, and a draft
keeps it. What was not posted stays as the document before has it: members without a field, and fields that were not opened.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from copy import deepcopy
from decimal import Decimal
from typing import Any

from quotes.office.measure_fields import STRENGTH_FIELDS
from shared.common.typed_entries import HEIGHT, LEVEL, TAPE, read_length, read_number, read_shares

Document = dict[str, Any]
PARTIES = ("owner", "neighbour")
"""Parties of a split without names such as 60/40, in this order."""

_KINDS: dict[str, Callable[[str], Any]] = {
    **dict.fromkeys(("length_mm", "from_mm", "at_mm"), lambda text: read_length(text, TAPE)),
    **dict.fromkeys(
        ("height_mm", "opening_mm", "lattice_mm", "existing_height_mm"), lambda text: read_length(text, HEIGHT)
    ),
    "level_mm": lambda text: read_length(text, LEVEL),
    **dict.fromkeys(("turn_deg", "backsight_m", "intermediate_m", "foresight_m", "bays"), read_number),
    **dict.fromkeys(("old_embedment_mm", "old_diameter_mm"), lambda text: read_length(text, HEIGHT)),
    "return_period_years": read_number,
    "hardware": lambda text: [part.strip() for part in text.split(",")],
    "shares": lambda text: read_shares(text, PARTIES),
    "bays_mm": lambda text: read_bays(text),
}
_NAME = re.compile(r"(?:[a-z_]+|\d{1,4})(?:/(?:[a-z_]+|\d{1,4})){0,6}\Z")


def read_fields(posted: Mapping[str, str], before: Mapping[str, Any]) -> Document:
    """Return the document of the posted fields. Members without a field are taken from ``before``."""
    tree = _tree(posted)
    document: Document = deepcopy({**before})
    document.update({key: tree[key] for key in ("label", "system") if isinstance(tree.get(key), str)})
    document["defaults"] = _defaults(tree.get("defaults", {}), before.get("defaults"))
    document["strength"] = _strength(tree.get("strength"), before.get("strength"))
    if not document["strength"]:
        del document["strength"]
    document["runs"] = _rows(tree, "runs", before, _run)
    document["retrofits"] = _rows(tree, "retrofits", before, lambda row, _: row)
    if not document["retrofits"]:
        del document["retrofits"]
    return document


def read_bays(text: str) -> list[Any]:
    """Read bay widths; ``6 x 2.4`` repeats one. Separate feet and inches by semicolons, because they may contain spaces.

    >>> read_bays("2.4 2,31; 2400"), read_bays("3 x 2400 2310")
    ([2400, 2310, 2400], [2400, 2400, 2400, 2310])
    >>> read_bays("2 x 8'; 7ft 6 1/2in"), read_bays("8' 6' 6")
    ([2438, 2438, 2299], ["8' 6' 6"])
    """
    found: list[Any] = []
    joined = re.sub(r"\s*[x×*]\s*", "x", text.lower())
    for part in _bay_texts(joined):
        times, _, width = part.rpartition("x")
        count = int(times) if times.isascii() and times.isdigit() and 0 < int(times) <= 1000 else 0
        found += [read_length(width)] * count if count else [read_length(part)]
    return found


def _bay_texts(joined: str) -> list[str]:
    """Return the text of each bay; a space may stand within feet and inches, so they are parted by semicolons or commas."""
    imperial = re.search(r"['\"’”′″]|ft|feet|foot|in", joined)
    parted = r";|,\s" if imperial else r"[;\s]+|,\s"
    return [part.strip() for part in re.split(parted, joined) if part and part.strip()]


def _tree(posted: Mapping[str, str]) -> dict[str, Any]:
    """Fields as nested members, empty ones left out of them."""
    tree: dict[str, Any] = {}
    for name, typed in posted.items():
        if not _NAME.match(name) or ("/" not in name and name not in ("label", "system")):
            continue
        *path, last = name.split("/")
        row = tree
        for step in path:
            row = row.setdefault(step, {})
        row[last] = _value(name, last, typed)
    return tree


def _value(name: str, last: str, typed: str) -> Any:
    """None for a field that is there and empty."""
    text = typed.strip()
    if not text:
        return None
    if "/levels/" in name:
        return read_length(text, TAPE if last == "0" else LEVEL)
    if name.startswith("strength/") and last not in _KINDS:
        number = read_number(text)
        return str(number) if isinstance(number, Decimal) else number
    read = _KINDS.get(last)
    return read(text) if read else text


def _filled(row: Any) -> Any:
    """Without members that are empty; nothing where all are."""
    if not isinstance(row, dict):
        return row
    kept = {key: _filled(value) for key, value in row.items()}
    return {key: value for key, value in kept.items() if value is not None and value != {}}


def _numbered(rows: Any) -> list[Any]:
    return (
        [rows[key] for key in sorted((key for key in rows if key.isdigit()), key=int)] if isinstance(rows, dict) else []
    )


def _defaults(entered: Any, before: Any) -> Document:
    """Return the job settings from the fields. Members without a field do not change."""
    known = before if isinstance(before, dict) else {}
    fields = dict(entered) if isinstance(entered, dict) else {}
    fields["finishes"] = _finishes(fields.get("finishes"), known.get("finishes"))
    return dict(_filled({**known, **fields}))


def _strength(entered: Any, before: Any) -> Any:
    """Return the screening settings: None without a method, unchanged if the page has no such fields."""
    if not isinstance(entered, dict):
        return before
    if not entered.get("method"):
        return None
    known = before if isinstance(before, dict) else {}
    same = known.get("method") == entered["method"]  # another method has other fields: drop the old values
    unseen = {key: value for key, value in known.items() if key not in STRENGTH_FIELDS} if same else {}
    return _filled({**unseen, **entered})


def _finishes(entered: Any, before: Any) -> Document | None:
    """Return the finishes by part. Parts without a field (lattice, cap, screw, gate) keep theirs."""
    known = before if isinstance(before, dict) else {}
    fields = entered if isinstance(entered, dict) else {}
    return {part: name for part, name in {**known, **fields}.items() if name} or None


def _rows(
    tree: Mapping[str, Any],
    kind: str,
    before: Mapping[str, Any],
    finish: Callable[[Document, Mapping[str, Any]], Document],
) -> list[Document]:
    old = before.get(kind)
    known = old if isinstance(old, list) else []
    found = []
    for place, data in enumerate(_numbered(tree.get(kind))):
        same = known[place] if place < len(known) and isinstance(known[place], dict) else {}
        found.append({**_unseen(same, data), **finish(dict(data), same)})
    return [_filled(row) for row in found]


def _unseen(before: Mapping[str, Any], entered: Mapping[str, Any]) -> Document:
    """Return the members that were not posted. The ground is always posted as a whole."""
    gone = {*entered, "levels", "book"} if "ground" in entered else set(entered)
    return {key: value for key, value in before.items() if key not in gone}


def _run(entered: Document, before: Mapping[str, Any]) -> Document:
    entered |= _ground(
        entered.pop("ground", None), entered.pop("levels", {}), entered.pop("book", {}), entered.get("length_mm")
    )
    if "gates" in entered:
        entered["gates"] = _gates(entered["gates"], before.get("gates")) or None
    entered["finishes"] = _finishes(entered.get("finishes"), before.get("finishes"))
    for member, decides in (("taper", "at"), ("existing_fence", "kind")):
        if member in entered and not entered[member].get(decides):
            entered[member] = None
    return entered


def _ground(kind: Any, numbered: Any, rows: Any, length: Any) -> Document:
    """Return the ground in the chosen form: even fall, stations or level book; empty if level."""
    stations = _stations(numbered)
    levels = [[row.get("0"), row.get("1")] for row in stations]
    if kind == "fall":
        return {"levels": _fall(levels, length)}
    if kind == "stations":
        listed = stations and "0" in stations[0]  # else the fields were those of a plain fall until now
        return {"levels": [row for row in levels if row != [None, None]] if listed else _opened(levels, length)}
    if kind == "book":
        return {"book": [row for row in map(_filled, _numbered(rows)) if row] or [{}]}
    return {}


def _stations(numbered: Any) -> list[Any]:
    """Return the posted rows, with the first one if it was left empty."""
    return _numbered({"0": {}, **numbered} if isinstance(numbered, dict) and numbered else {})


def _fall(levels: list[list[Any]], length: Any) -> list[list[Any]]:
    """Return the fall from the first to the last level, without those between."""
    start, end = (levels[0][1], levels[-1][1] if len(levels) > 1 else None) if levels else (None, None)
    last = length if isinstance(length, int) and length > 0 else None
    return [[0, 0 if start is None else start], [last, 0 if end is None else end]]


def _opened(levels: list[list[Any]], length: Any) -> list[list[Any]]:
    """Return an even fall as stations, with an empty one between."""
    start, end = _fall(levels, length)
    return [start, [None, None], end]


def _gates(entered: Any, before: Any) -> list[Document]:
    known = before if isinstance(before, list) else []
    gates = []
    for place, row in enumerate(_numbered(entered)):
        same = known[place] if place < len(known) and isinstance(known[place], dict) else {}
        gates.append({**_unseen(same, row), **_filled(row)})
    return gates
