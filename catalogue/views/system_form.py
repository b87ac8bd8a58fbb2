"""Form of a fence system. It changes only the fields of the document that were edited."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from copy import deepcopy
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django import forms

from catalogue.views.system_fields import FIELDS, OPTIONAL_TABLES, SECTIONS, FieldType, SystemField, SystemSection
from fencing.model.faults import Fault, InvalidDocument
from fencing.model.system import SYSTEM_SCHEMA
from fencing.reading import read_system
from shared.common.typed_entries import read_millimetres
from shared.common.typed_numbers import as_shown
from shared.web.forms import PageField, PageForm, PageTextField
from shared.web.page_errors import PageError

Document = dict[str, Any]
Sold = Mapping[str, Iterable[tuple[str, str]]]
"""Components by role, as codes with labels."""
_NUMBER = re.compile(r"-?\d{1,9}(?:[.,]\d{1,9})?\Z", re.ASCII)
_PAIRS = (re.compile(r"(.+?)\s*[x×*/;]\s*(.+)\Z"), re.compile(r"(.+?)(?:\s*,\s*|\s+)(.+)\Z"))
"""A comma parts a pair only where nothing else does: it may be a decimal sign."""
WIDE = (FieldType.LENGTHS, FieldType.CHOICE, FieldType.COMPONENT)
MAX_TYPED = 600
MAX_CHOICES = 200


@dataclass(frozen=True, slots=True)
class FormSection:
    """A section of the form with its fields. ``unfolded``: one of ``more`` is used or has an error."""

    section: SystemSection
    boxes: list[PageField]
    more: list[PageField]

    @property
    def unfolded(self) -> bool:
        return any(box.value() or box.errors for box in self.more)


class FenceSystemForm(PageForm):
    """Form of a fence system. ``before`` is the document to change; a document without a code is a new system.

    A valid form has the changed ``document``, which is a valid fence system.
    """

    def __init__(self, before: Mapping[str, Any], sold: Sold | None = None, **options: Any) -> None:
        initial = {field.path: at(before, field.path) for field in FIELDS}
        fields = {field.path: _form_field(field, initial[field.path]) for field in FIELDS}
        super().__init__(fields=fields, initial=initial, **options)
        self.before, self.document = before, Document()
        self.fields["code"].disabled = "code" in before
        for field in FIELDS:
            if field.kind is FieldType.YES and initial[field.path] is None:
                self.initial[field.path] = field.unset
            elif field.kind is FieldType.COMPONENT:
                self._offer(field, tuple((sold or {}).get(field.path.partition("/")[2], ())))

    def _offer(self, field: SystemField, offered: tuple[tuple[str, str], ...]) -> None:
        """Set the components to choose from. If they are too many, the code is entered."""
        if len(offered) > MAX_CHOICES:
            self.fields[field.path].kind = "text"  # type: ignore[attr-defined]
            return
        text = self[field.path].value()
        strange = () if not text or text in dict(offered) else ((text, f"{text}: not in the catalogue"),)
        none = ("", "None named" if offered else "None in the catalogue")
        self.set_choices(field.path, (none, *strange, *offered))

    @property
    def sections(self) -> list[FormSection]:
        """Return the sections with their fields."""
        return [
            FormSection(
                section, [self[item.path] for item in section.fields], [self[item.path] for item in section.more]
            )
            for section in SECTIONS
        ]

    def facts(self) -> dict[str, str]:
        """Return every field as the form shows it, by its section and label."""
        return {
            f"{part.section.heading}: {box.label}": box.shown
            for part in self.sections
            for box in part.boxes + part.more
        }

    def clean(self) -> Document:
        """Return the values, and check the document with the entries."""
        self.document = self._read()
        try:
            read_system(self.document)
        except InvalidDocument as refused:
            self.refuse(refused)
        return self.cleaned_data

    def _read(self) -> Document:
        """Return the document with the edited fields. An entry that cannot be read stays text, and the reader rejects it."""
        document = deepcopy(dict(self.before)) or {"schema": SYSTEM_SCHEMA}
        edited = set(self.changed_data)
        for field in FIELDS:
            if field.path in edited or not self.before:
                value = self.cleaned_data.get(field.path, "")
                _put(document, field.path, value if value != "" else [] if field.empty else None)
        for path in OPTIONAL_TABLES:
            if at(document, path) == {}:
                _put(document, path, None)
        return document

    def refuse(self, error: PageError) -> None:
        """Show errors beside their fields, in the words of the form."""
        super().refuse(
            InvalidDocument(self._in_words(fault) for fault in error.faults)
            if isinstance(error, InvalidDocument)
            else error
        )

    def _in_words(self, fault: Fault) -> Fault:
        path = fault.pointer.removeprefix("/")
        text = fault.text.replace("leave the key out", "leave it empty").replace("leave it out", "leave it empty")
        if text == f"{path.rpartition('/')[2]} is missing":
            text = "This field is required."
        has_field = any(path == name or path.startswith(f"{name}/") for name in self.fields)
        text = text[:1].upper() + text[1:] if has_field else f"{fault.pointer} {text}".strip()
        return Fault(fault.pointer, fault.code, text)


def at(document: Mapping[str, Any], path: str) -> Any:
    """Return the value at a path of the document, or None."""
    found: Any = document
    for key in path.split("/"):
        found = found.get(key) if isinstance(found, Mapping) else None
    return found


def _put(document: Document, path: str, value: Any) -> None:
    *tables, key = path.split("/")
    for table in tables:
        document = document.setdefault(table, {})
    if value is None:
        document.pop(key, None)
    else:
        document[key] = value


def _form_field(field: SystemField, value: Any) -> forms.Field:
    """Return the field of the form for a field of the document and its value."""
    if field.kind is FieldType.YES:
        return forms.BooleanField(label=field.label, help_text=field.hint, required=False)
    kind = "select" if field.kind in (FieldType.CHOICE, FieldType.COMPONENT) else "text"
    return PageTextField(
        field.label,
        "number" if field.kind in _FIGURES else kind,
        hint=field.hint,
        choices=field.choices if value or not field.choices else (("", "Choose"), *field.choices),
        wide=field.kind in WIDE or field.path == "label",
        max_length=MAX_TYPED,
        read=_READERS.get(field.kind, str),
        show=_WRITERS.get(field.kind, str),
    )


_FIGURES = (FieldType.NUMBER, FieldType.LENGTH, FieldType.COUNT)


def _read_lengths(text: str) -> list[int | Decimal | str]:
    """Return several lengths, which are separated by semicolons, commas or spaces."""
    sign = next((sign for sign in ";," if sign in text), None)  # where there are semicolons, commas are decimal
    return [read_millimetres(part.strip()) for part in text.split(sign) if part.strip()]


def _read_pair(text: str) -> list[int | Decimal | str] | str:
    pair = next((found for item in _PAIRS if (found := item.match(text))), None)
    return [read_millimetres(group) for group in pair.groups()] if pair else text


def _read_number(text: str) -> str:
    return text.replace(",", ".") if _NUMBER.match(text) else text


def _write_lengths(lengths: Any) -> str:
    if not isinstance(lengths, list):
        return str(lengths)
    texts = [as_shown(length) for length in lengths]
    return ("; " if "," in "".join(texts) else ", ").join(texts)


def _write_pair(pair: Any) -> str:
    return " × ".join(as_shown(length) for length in pair) if isinstance(pair, list) else str(pair)


_READERS: Mapping[FieldType, Callable[[str], Any]] = {
    FieldType.LENGTH: read_millimetres, FieldType.LENGTHS: _read_lengths, FieldType.PAIR: _read_pair,
    FieldType.COUNT: read_millimetres, FieldType.NUMBER: _read_number,
}  # fmt: skip
"""Readers of entries by field type; an entry that cannot be read stays text."""
_WRITERS: Mapping[FieldType, Callable[[Any], str]] = {
    FieldType.LENGTHS: _write_lengths, FieldType.PAIR: _write_pair, **dict.fromkeys(_FIGURES, as_shown)
}  # fmt: skip
