"""Serializers for request bodies. They report every error at once, each with a JSON Pointer."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Iterable, Iterator, Mapping
from decimal import Decimal
from typing import Any, ClassVar

from django.db import models
from rest_framework import serializers
from rest_framework.exceptions import ErrorDetail

from fencing.model.faults import Fault, InvalidDocument

_NUMBER = re.compile(r"-?[0-9]{1,20}(\.[0-9]{1,12})?\Z", re.ASCII)

_MAX_MEMBERS = 1_000  # of one object: an object with more members is rejected as a whole
_ALLOWED_CONTROLS = "\n\t\u200d"  # line break, tab, and the joiner of emoji and some scripts


_LISTS = (serializers.ListField, serializers.ListSerializer)


def defaults(model: type[models.Model], *columns: str) -> dict[str, Callable[[], Any]]:
    """Return the default values of these columns of a new record."""
    fields = {field.name: field for field in model._meta.concrete_fields}
    return {name: fields[name].get_default for name in columns}


class StrictSerializer(serializers.Serializer[Any]):
    """Serializer that rejects unknown fields, read-only fields, and flags that are not true or false.

    A PATCH merges (RFC 7396): a missing field keeps its value, and null clears it. A text that may be blank becomes empty, a
    field in ``cleared`` gets the value given there, and a nullable field becomes null. Any other null is an error.
    """

    merges: ClassVar[bool] = False
    """Set for a PATCH body that is not read as ``partial``, because its lists hold complete objects."""
    cleared: ClassVar[Mapping[str, Callable[[], Any]]] = {}
    """Values of cleared fields."""

    def get_fields(self) -> dict[str, Any]:
        """Return the fields; in a PATCH those that can be cleared accept null."""
        fields = super().get_fields()
        if _is_merged(self):
            for name, item in fields.items():
                item.allow_null = item.allow_null or self._cleared_value(name, item) is not None
                item.error_messages["null"] = "This cannot be cleared. Leave it out to keep its value."
        return fields

    def _cleared_value(self, name: str, field: serializers.Field[Any, Any, Any, Any]) -> Callable[[], Any] | None:
        if name in self.cleared:
            return self.cleared[name]
        return str if isinstance(field, serializers.CharField) and field.allow_blank else None

    def to_internal_value(self, data: Any) -> Any:
        """Return the values, or raise a ValidationError with every error."""
        faults = self._find_rejected(data) if isinstance(data, Mapping) else {}
        try:
            values = super().to_internal_value(data)
        except serializers.ValidationError as fault:
            if isinstance(fault.detail, dict):
                faults.update(fault.detail)
            elif not faults:
                raise
        if faults:
            raise serializers.ValidationError(faults)
        return self._clear(values) if _is_merged(self) else values

    def _find_rejected(self, data: Mapping[str, Any]) -> dict[str, Any]:
        if len(data) > _MAX_MEMBERS:
            text = f"{len(data)} fields; at most {_MAX_MEMBERS} are allowed."
            raise serializers.ValidationError({"non_field_errors": [ErrorDetail(text, "members")]})
        faults: dict[str, Any] = {}
        for name in data:
            field = self.fields.get(name)
            if field is None:
                known = ", ".join(key for key, item in self.fields.items() if not item.read_only)
                faults[name] = [ErrorDetail(f"Unknown field. Known fields: {known}.", "unknown")]
            elif field.read_only:
                faults[name] = [ErrorDetail("This field is read-only.", "read-only")]
            elif isinstance(field, serializers.BooleanField) and not isinstance(data[name], bool):
                faults[name] = [ErrorDetail("Enter true or false.", "flag")]
        return faults

    def _clear(self, values: dict[str, Any]) -> dict[str, Any]:
        for name in [name for name, value in values.items() if value is None]:
            if cleared_value := self._cleared_value(name, self.fields[name]):
                values[name] = cleared_value()
        return values


def _is_merged(body: serializers.Field[Any, Any, Any, Any]) -> bool:
    """Return whether an object of a body is merged into the stored value. Objects in a list replace it."""
    parent = body.parent
    while parent:
        if isinstance(parent, _LISTS):
            return False
        body, parent = parent, parent.parent
    return bool(getattr(body, "partial", False) or getattr(body, "merges", False))


class TextField(serializers.CharField):
    """Text field. It rejects numbers, and removes control characters and characters that change the text direction."""

    def to_internal_value(self, data: Any) -> str:
        """Return the text without control characters."""
        if not isinstance(data, str):
            raise serializers.ValidationError("Enter a text.", "text")
        text = "".join(
            char for char in data if char in _ALLOWED_CONTROLS or unicodedata.category(char) not in ("Cc", "Cf")
        )
        if "\x00" in data:
            raise serializers.ValidationError("A text cannot contain the character NUL.", "nul")
        return super().to_internal_value(text)


class ExactField(serializers.Field[Decimal, Any, str, Any]):
    """Decimal number as text, such as ``"12.50"``: plain digits without an exponent. It is never converted to a float."""

    def __init__(self, *, places: int = 2, least: str | None = "0", most: str = "1000000000", **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.places, self.most = places, Decimal(most)
        self.least = Decimal(least) if least is not None else -self.most

    def to_internal_value(self, data: Any) -> Decimal:
        """Return the number, or raise a ValidationError."""
        if not isinstance(data, str) or not _NUMBER.match(data):
            raise serializers.ValidationError('Enter a decimal number as text, such as "12.50".', "decimal")
        number = Decimal(data)
        exponent = number.normalize().as_tuple().exponent
        if isinstance(exponent, int) and -exponent > self.places:
            raise serializers.ValidationError(f"At most {self.places} decimal places.", "places")
        if not self.least <= number <= self.most:
            raise serializers.ValidationError(f"From {self.least} to {self.most}.", "range")
        return number

    def to_representation(self, value: Decimal) -> str:
        """Return the number as text."""
        return format(value, "f")


def validated_data(kind: type[serializers.BaseSerializer[Any]], data: Any, *, partial: bool = False) -> dict[str, Any]:
    """Return the values of a body, or raise InvalidDocument with every error."""
    serializer = kind(data=data, partial=partial)
    if not serializer.is_valid():
        raise InvalidDocument(Fault(pointer, code, text) for pointer, code, text in _flat(serializer.errors, ""))
    return dict(serializer.validated_data)


def read_each(
    kind: type[serializers.BaseSerializer[Any]], bodies: Iterable[Any]
) -> Iterator[dict[str, Any] | InvalidDocument]:
    """Yield the values of each body, or its errors. The fields are made once, because that takes longer than reading a body."""
    serializer = kind()
    for data in bodies:
        try:
            yield dict(serializer.run_validation(data))
        except serializers.ValidationError as fault:
            yield InvalidDocument(Fault(pointer, code, text) for pointer, code, text in _flat(fault.detail, ""))


def _flat(errors: Any, pointer: str) -> Iterator[tuple[str, str, str]]:
    match errors:
        case ErrorDetail():
            yield pointer, str(errors.code), str(errors)
        case Mapping():
            for name, inner in errors.items():
                step = str(name).replace("~", "~0").replace("/", "~1")
                yield from _flat(inner, pointer if name == "non_field_errors" else f"{pointer}/{step}")
        case list() | tuple():
            for index, inner in enumerate(errors):
                yield from _flat(inner, pointer if isinstance(inner, ErrorDetail) else f"{pointer}/{index}")
