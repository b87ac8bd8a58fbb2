"""Conversion of a fence system's document to a form and back. Fields that are not edited stay unchanged."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from copy import deepcopy
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from catalogue.views.system_fields import FIELDS, OPTIONAL_TABLES, SECTIONS, FieldType, SystemField, SystemSection
from fencing.model.faults import InvalidDocument
from fencing.model.system import SYSTEM_SCHEMA
from shared.common.figures import localize
from shared.common.form_fields import FormField, faults_by_pointer
from shared.common.typed_lengths import read_millimetres

Document = dict[str, Any]
_NUMBER = re.compile(r"-?\d{1,9}(?:[.,]\d{1,9})?\Z", re.ASCII)
_PAIRS = (re.compile(r"(.+?)\s*[x×*/;]\s*(.+)\Z"), re.compile(r"(.+?)(?:\s*,\s*|\s+)(.+)\Z"))
"""A comma parts a pair only where nothing else does: it may be a decimal sign."""
WIDE = (FieldType.LENGTHS, FieldType.CHOICE, FieldType.COMPONENT)
MAX_TYPED = 600
MAX_CHOICES = 200


@dataclass(frozen=True, slots=True)
class FormSection:
    """A section of the form with its boxes. ``unfolded``: one of ``more`` is used or at fault."""

    section: SystemSection
    boxes: tuple[FormField, ...]
    more: tuple[FormField, ...]

    @property
    def unfolded(self) -> bool:
        return any(box.value or box.fault for box in self.more)


def at(document: Mapping[str, Any], path: str) -> Any:
    """Return the value at a path of the document, or None."""
    found: Any = document
    for key in path.split("/"):
        found = found.get(key) if isinstance(found, Mapping) else None
    return found


def field_text(field: SystemField, document: Mapping[str, Any]) -> str:
    """Return a value of the document as the form shows it."""
    value = at(document, field.path)
    if field.kind is FieldType.YES:
        return "1" if (field.unset if value is None else value is True) else ""
    if value is None:
        return ""
    if isinstance(value, list):
        texts = [_figure(item) for item in value]
        return (" × " if field.kind is FieldType.PAIR else "; " if "," in "".join(texts) else ", ").join(texts)
    return _figure(value) if field.kind in _FIGURES else str(value)


_FIGURES = (FieldType.NUMBER, FieldType.LENGTH, FieldType.COUNT)


def _figure(value: Any) -> str:
    """Return a number with the decimal sign of the page; other text is unchanged."""
    text = str(value)
    return localize(text) if _NUMBER.match(text) else text


def shown(document: Mapping[str, Any]) -> dict[str, str]:
    """Every field as the form shows it."""
    return {field.path: field_text(field, document) for field in FIELDS}


def read_fields(posted: Mapping[str, str]) -> dict[str, str]:
    """Return every field as entered."""
    return {field.path: posted.get(field.path, "").strip()[:MAX_TYPED] for field in FIELDS}


def read_form(texts: Mapping[str, str], before: Mapping[str, Any]) -> Document:
    """Return ``before`` with the entries; an entry that cannot be read stays text, and the reader rejects it."""
    document = deepcopy(dict(before)) or {"schema": SYSTEM_SCHEMA}
    for field in FIELDS:
        if texts[field.path] != field_text(field, before) or not before:
            _put(document, field.path, _value(field, texts[field.path]))
    for path in OPTIONAL_TABLES:
        if at(document, path) == {}:
            _put(document, path, None)
    return document


def _put(document: Document, path: str, value: Any) -> None:
    *tables, key = path.split("/")
    for table in tables:
        document = document.setdefault(table, {})
    if value is None:
        document.pop(key, None)
    else:
        document[key] = value


def _value(field: SystemField, text: str) -> Any:
    """Return a field's value; None if it is empty."""
    if field.kind is FieldType.YES:
        return bool(text)
    if not text:
        return [] if field.empty else None
    return _READERS[field.kind](text)


def _read_lengths(text: str) -> list[int | Decimal | str]:
    return [read_millimetres(item) for item in _items(text)]


def _read_pair(text: str) -> list[int | Decimal | str] | str:
    pair = next((found for item in _PAIRS if (found := item.match(text))), None)
    return [read_millimetres(group) for group in pair.groups()] if pair else text


def _read_number(text: str) -> str:
    return text.replace(",", ".") if _NUMBER.match(text) else text


def _items(text: str) -> list[str]:
    """Several lengths: with commas or semicolons, or with spaces alone."""
    signs = next((sign for sign in ";," if sign in text), None)  # where there are semicolons, commas are decimal
    parts = text.split(signs)
    return [part.strip() for part in parts if part.strip()]


_READERS: Mapping[FieldType, Callable[[str], Any]] = {
    FieldType.TEXT: str, FieldType.CHOICE: str, FieldType.COMPONENT: str, FieldType.LENGTH: read_millimetres,
    FieldType.LENGTHS: _read_lengths, FieldType.PAIR: _read_pair, FieldType.COUNT: read_millimetres,
    FieldType.NUMBER: _read_number,
}  # fmt: skip
"""Readers of entries by field type; an entry that cannot be read stays text."""


def faults_of(refused: InvalidDocument) -> dict[str, str]:
    """Return the errors by field; errors of no field under an empty name."""
    by_path = {field.path: field for field in FIELDS}
    found: dict[str, list[str]] = {}
    for pointer, text in faults_by_pointer(refused).items():
        path = pointer.removeprefix("/")
        while path and path not in by_path:
            path = path.rpartition("/")[0]
        found.setdefault(path, []).append(_in_words(path, pointer, text))
    return {path: " ".join(dict.fromkeys(texts)) for path, texts in found.items()}


def _in_words(path: str, pointer: str, text: str) -> str:
    key = path.rpartition("/")[2]
    if text == f"{key} is missing":
        return "This field is required."
    text = text.replace("leave the key out", "leave it empty").replace("leave it out", "leave it empty")
    return text[:1].upper() + text[1:] if path else f"{pointer} {text}".strip()


def by_label(document: Mapping[str, Any]) -> dict[str, str]:
    """Return every field as the form shows it, by its section and label."""
    return {
        f"{section.heading}: {field.label}": field_text(field, document)
        for section in SECTIONS
        for field in section.all()
    }


Sold = Mapping[str, Iterable[tuple[str, str]]]


def parts(texts: Mapping[str, str], faults: Mapping[str, str], sold: Sold, *, new: bool = False) -> list[FormSection]:
    """Return every section of the form with its fields. ``sold`` are components by role; a code is entered only once."""

    def box(field: SystemField) -> FormField:
        text = texts[field.path]
        choices, kind = _choices(field, text, sold)
        if field.path == "code" and not new:
            kind = "fixed"
        return FormField(
            field.path, field.label, text, kind, faults.get(field.path, ""), field.hint, choices,
            wide=field.kind in WIDE or field.path == "label",
        )  # fmt: skip

    return [
        FormSection(section, tuple(box(item) for item in section.fields), tuple(box(item) for item in section.more))
        for section in SECTIONS
    ]


def _choices(field: SystemField, text: str, sold: Sold) -> tuple[tuple[tuple[str, str], ...], str]:
    if field.kind is FieldType.CHOICE:
        known = field.choices if text in dict(field.choices) else (("", "Choose"), *field.choices)
        return known, "select"
    if field.kind is FieldType.COMPONENT:
        offered = tuple(sold.get(field.path.partition("/")[2], ()))
        if len(offered) > MAX_CHOICES:
            return (), "text"
        strange = () if not text or text in dict(offered) else ((text, f"{text}: not in the catalogue"),)
        return (("", "None named" if offered else "None in the catalogue"), *strange, *offered), "select"
    return (), {
        FieldType.YES: "check",
        FieldType.LENGTH: "number",
        FieldType.COUNT: "number",
        FieldType.NUMBER: "number",
    }.get(field.kind, "text")
