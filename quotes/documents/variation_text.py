"""Text of a variation on paper: its lines and quantities, and the notice of the set-out sheet it replaces."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from fencing.model.roles import name_role
from quotes.documents.number_format import MINUS, called, metres, quantity, ranges

Document = Mapping[str, Any]
_NOUNS = {"posts": "holes", "bays": "bays", "gates": "gates"}
_WORDS = {"added": "new", "removed": "no longer built", "changed": "changed"}


@dataclass(frozen=True, slots=True)
class Replaced:
    """Notice of a replaced sheet. ``text`` names that sheet; ``changes`` are sentences; ``moved``: former chainages by post."""

    text: str
    changes: tuple[str, ...]
    moved: Mapping[str, str]


def replaced(document: Document) -> Replaced | None:
    """Return the sheet that a variation replaces and its changes; None for the first accepted revision."""
    data = document.get("replaces")
    if data is None:
        return None
    changes = [text for part in data["parts"] for text in _part_changes(part)]
    if data["system"]:
        changes.insert(0, "The fence system changed: every size on the old sheet may have changed.")
    changes += [f"Also: {text}." for text in data["extra_items"]]
    moved = {
        place["id"]: metres(place["before_mm"])
        for part in data["parts"]
        for place in part["places"]
        if place["kind"] == "posts" and place["change"] == "moved"
    }
    text = f"This sheet replaces the set-out sheet of revision {data['revision']} of quote {document['number']}."
    return Replaced(text, tuple(changes) or ("The set-out is unchanged. See the cut list and the notes.",), moved)


def _part_changes(part: Document) -> Iterator[str]:
    name = part["part"]
    if part["change"] != "changed":
        yield f"{name}: new." if part["change"] == "added" else f"{name}: no longer built."
        return
    if "length_mm" in part:
        was, now = part["length_mm"]
        yield f"{name}: length {metres(now)} m, previously {metres(was)} m."
    if "form" in part:
        was, now = part["form"]
        yield f"{name}: {now}, previously {was}."
    for kind, noun in _NOUNS.items():
        places = [place for place in part["places"] if place["kind"] == kind]
        texts = [*_moved_texts(name, places), *_change_texts(name, places)]
        if texts:
            yield f"{name}, {noun}: {'; '.join(texts)}."


def _moved_texts(run: str, places: Sequence[Document]) -> Iterator[str]:
    for place in places:
        if place["change"] == "moved":
            yield f"{called(run, place['id'])} at {metres(place['after_mm'])} m, previously {metres(place['before_mm'])} m"


def _change_texts(run: str, places: Sequence[Document]) -> Iterator[str]:
    for change, word in _WORDS.items():
        if names := [called(run, place["id"]) for place in places if place["change"] == change]:
            yield f"{word} {ranges(names)}"


@dataclass(frozen=True, slots=True)
class QuantityChange:
    part: str
    finish: str
    before: str
    after: str
    difference: str


def change_of(line: Document, locale: str) -> str:
    """Return the change of a variation's line as text.

    >>> side = {"text": "Run A", "detail": "", "quantity": "12.00", "unit": "MTR"}
    >>> change_of({"change": "changed", "before": side, "after": {**side, "quantity": "14.40"}}, "en")
    'changed: 12.000 m become 14.400 m'
    >>> change_of({"change": "removed", "before": side, "after": None}, "en")
    'removed: 12.000 m'
    """
    old, new = (_side(line.get(name), locale) for name in ("before", "after"))
    if line["change"] != "changed":
        return f"{line['change']}: {old or new}"
    if old != new:
        return f"changed: {old} become {new}"
    before, after = line["before"], line["after"]
    data = "detail" if before["detail"] != after["detail"] else "text"
    return f"changed: was {before[data]}" if before[data] and before[data] != after[data] else "changed in price"


def _side(side: Document | None, locale: str) -> str:
    return "" if side is None else quantity(side["quantity"], side["unit"], locale)


def quantity_changes(rows: Iterable[Document], locale: str) -> tuple[QuantityChange, ...]:
    """Return the changed quantities of a variation."""
    return tuple(
        QuantityChange(
            name_role(row["role"]).capitalize(),
            row["finish"] or "",
            quantity(row["before"], row["unit"], locale),
            quantity(row["after"], row["unit"], locale),
            _signed(row["difference"], row["unit"], locale),
        )
        for row in rows
    )


def _signed(text: str, unit: str, locale: str) -> str:
    sign = "+" if Decimal(text) > 0 else MINUS
    return sign + quantity(abs(Decimal(text)), unit, locale)
