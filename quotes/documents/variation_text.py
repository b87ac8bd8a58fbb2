"""Text of a variation on paper: its lines and quantities, and the notice of the set-out sheet it replaces."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from fencing.model.roles import name_role
from quotes.documents.number_format import MINUS, called, metres, quantity, ranges
from quotes.quoting.content import ChangedQuantity, PartChange, PlaceChange
from quotes.quoting.party_content import ChangedPartyLine, CrewContent

_NOUNS = {"posts": "holes", "bays": "bays", "gates": "gates"}
_WORDS = {"added": "new", "removed": "no longer built", "changed": "changed"}


@dataclass(frozen=True, slots=True)
class Replaced:
    """Notice of a replaced sheet. ``text`` names that sheet; ``changes`` are sentences; ``moved``: former chainages by post."""

    text: str
    changes: tuple[str, ...]
    moved: Mapping[str, str]


def replaced(document: CrewContent) -> Replaced | None:
    """Return the sheet that a variation replaces and its changes; None for the first accepted revision."""
    data = document.replaces
    if data is None:
        return None
    changes = [text for part in data.parts for text in _part_changes(part)]
    if data.system:
        changes.insert(0, "The fence system changed: every size on the old sheet may have changed.")
    changes += [f"Also: {text}." for text in data.extra_items]
    moved = {
        place.id: metres(place.before_mm)
        for part in data.parts
        for place in part.places
        if place.kind == "posts" and place.before_mm is not None
    }
    text = f"This sheet replaces the set-out sheet of revision {data.revision} of quote {document.number}."
    return Replaced(text, tuple(changes) or ("The set-out is unchanged. See the cut list and the notes.",), moved)


def _part_changes(part: PartChange) -> Iterator[str]:
    name = part.part
    if part.change != "changed":
        yield f"{name}: new." if part.change == "added" else f"{name}: no longer built."
        return
    if part.length_mm:
        was, now = part.length_mm
        yield f"{name}: length {metres(now or 0)} m, previously {metres(was or 0)} m."
    if part.form:
        yield f"{name}: {part.form[1]}, previously {part.form[0]}."
    for kind, noun in _NOUNS.items():
        texts = list(_place_texts(name, [place for place in part.places if place.kind == kind]))
        if texts:
            yield f"{name}, {noun}: {'; '.join(texts)}."


def _place_texts(run: str, places: Sequence[PlaceChange]) -> Iterator[str]:
    for place in places:
        if place.after_mm is not None and place.before_mm is not None:
            yield f"{called(run, place.id)} at {metres(place.after_mm)} m, previously {metres(place.before_mm)} m"
    for change, word in _WORDS.items():
        if names := [called(run, place.id) for place in places if place.change == change]:
            yield f"{word} {ranges(names)}"


@dataclass(frozen=True, slots=True)
class QuantityChange:
    part: str
    finish: str
    before: str
    after: str
    difference: str


def change_of(line: ChangedPartyLine, locale: str) -> str:
    """Return the change of a variation's line as text.

    >>> from types import SimpleNamespace
    >>> was, now = (SimpleNamespace(quantity=quantity, unit="MTR") for quantity in ("12.00", "14.40"))
    >>> change_of(SimpleNamespace(change="changed", before=was, after=now), "en")
    'changed: 12.000 m become 14.400 m'
    >>> change_of(SimpleNamespace(change="removed", before=was, after=None), "en")
    'removed: 12.000 m'
    """
    before, after = line.before, line.after
    old, new = ("" if side is None else quantity(side.quantity, side.unit, locale) for side in (before, after))
    if before is None or after is None:
        return f"{line.change}: {old or new}"
    if old != new:
        return f"changed: {old} become {new}"
    was, now = (before.detail, after.detail) if before.detail != after.detail else (before.text, after.text)
    return f"changed: was {was}" if was and was != now else "changed in price"


def quantity_changes(rows: Iterable[ChangedQuantity], locale: str) -> tuple[QuantityChange, ...]:
    """Return the changed quantities of a variation."""
    return tuple(
        QuantityChange(
            name_role(row.role).capitalize(),
            row.finish or "",
            quantity(row.before, row.unit, locale),
            quantity(row.after, row.unit, locale),
            _signed(row.difference, row.unit, locale),
        )
        for row in rows
    )


def _signed(amount: Decimal, unit: str, locale: str) -> str:
    return ("+" if amount > 0 else MINUS) + quantity(abs(amount), unit, locale)
