"""Reading a request's body into values: everything wrong is named at once, each with a pointer."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator, Mapping
from decimal import Decimal
from typing import Any

from rest_framework import serializers
from rest_framework.exceptions import ErrorDetail

from fencing.faults import Fault, Refused

_NUMBER = re.compile(r"-?[0-9]{1,20}(\.[0-9]{1,12})?\Z", re.ASCII)

_KEPT = "\n\t\u200d"  # of the control characters: line, tab, and what joins emoji and some scripts


class StrictSerializer(serializers.Serializer[Any]):
    """Names members nobody knows, members that can be read but not written, and flags that are none, instead of guessing."""

    def to_internal_value(self, data: Any) -> Any:
        faults: dict[str, Any] = {}
        if isinstance(data, Mapping):
            for name in data:
                field = self.fields.get(name)
                if field is None:
                    known = ", ".join(key for key, one in self.fields.items() if not one.read_only)
                    faults[name] = [ErrorDetail(f"Unknown member; known are: {known}.", "unknown")]
                elif field.read_only:
                    faults[name] = [ErrorDetail("This can be read, not written.", "read-only")]
                elif isinstance(field, serializers.BooleanField) and not isinstance(data[name], bool):
                    faults[name] = [ErrorDetail("true or false is wanted here.", "flag")]
        try:
            values = super().to_internal_value(data)
        except serializers.ValidationError as fault:
            if isinstance(fault.detail, dict):
                faults.update(fault.detail)
            elif not faults:
                raise
        if faults:
            raise serializers.ValidationError(faults)
        return values


class TextField(serializers.CharField):
    """A line or text as people type it: numbers are not text, and what turns its direction round is taken out."""

    def to_internal_value(self, data: Any) -> str:
        if not isinstance(data, str):
            raise serializers.ValidationError("Text is wanted here.", "text")
        kept = "".join(char for char in data if char in _KEPT or unicodedata.category(char) not in ("Cc", "Cf"))
        if "\x00" in data:
            raise serializers.ValidationError("A text can't hold the character NUL.", "nul")
        return super().to_internal_value(kept)


class ExactField(serializers.Field[Decimal, Any, str, Any]):
    """A decimal number written as text, such as ``"12.50"``: plain digits, no exponent, no float on the way."""

    def __init__(self, *, places: int = 2, least: str | None = "0", most: str = "1000000000", **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.places, self.most = places, Decimal(most)
        self.least = Decimal(least) if least is not None else -self.most

    def to_internal_value(self, data: Any) -> Decimal:
        if not isinstance(data, str) or not _NUMBER.match(data):
            raise serializers.ValidationError('A decimal number as text is wanted here, like "12.50".', "decimal")
        number = Decimal(data)
        exponent = number.normalize().as_tuple().exponent
        if isinstance(exponent, int) and -exponent > self.places:
            raise serializers.ValidationError(f"At most {self.places} decimal places.", "places")
        if not self.least <= number <= self.most:
            raise serializers.ValidationError(f"From {self.least} to {self.most}.", "range")
        return number

    def to_representation(self, value: Decimal) -> str:
        return format(value, "f")


def read(kind: type[serializers.BaseSerializer[Any]], data: Any, *, partial: bool = False) -> dict[str, Any]:
    """The values of a body; refused whole when anything is wrong with it."""
    serializer = kind(data=data, partial=partial)
    if not serializer.is_valid():
        raise Refused(Fault(pointer, code, text) for pointer, code, text in _flat(serializer.errors, ""))
    return dict(serializer.validated_data)


def _flat(errors: Any, pointer: str) -> Iterator[tuple[str, str, str]]:
    match errors:
        case ErrorDetail():
            yield pointer, str(errors.code), str(errors)
        case Mapping():
            for name, inner in errors.items():
                step = str(name).replace("~", "~0").replace("/", "~1")
                yield from _flat(inner, pointer if name == "non_field_errors" else f"{pointer}/{step}")
        case list() | tuple():
            for place, inner in enumerate(errors):
                yield from _flat(inner, pointer if isinstance(inner, ErrorDetail) else f"{pointer}/{place}")
