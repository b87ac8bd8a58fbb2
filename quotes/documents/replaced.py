"""Notice at the top of a variation's set-out sheet: the sheet it replaces and the changes."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from quotes.documents.number_format import called, metres, ranges

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
    changes = [text for part in data["parts"] for text in _part(part)]
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


def _part(part: Document) -> Iterator[str]:
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
