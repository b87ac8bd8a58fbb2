"""Reading a request's body into values: everything wrong is named at once, each with a pointer."""

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

_MEMBERS_MAX = 1_000  # of one object whose members are known: more are not looked at one by one
_KEPT = "\n\t\u200d"  # of the control characters: line, tab, and what joins emoji and some scripts


_LISTS = (serializers.ListField, serializers.ListSerializer)


def defaults(model: type[models.Model], *columns: str) -> dict[str, Callable[[], Any]]:
    """What a new row has in these columns where nothing was said of them."""
    fields = {field.name: field for field in model._meta.concrete_fields}
    return {name: fields[name].get_default for name in columns}


class StrictSerializer(serializers.Serializer[Any]):
    """Names members nobody knows, members that can be read but not written, and flags that are none, instead of guessing.

    A PATCH merges (RFC 7396): what is left out stays, null clears. A text that may be empty gets empty, what ``cleared``
    names gets that, what may be null anyhow is null, and all else says that it can't be cleared.
    """

    merges: ClassVar[bool] = False
    """A body of a PATCH that is not read as ``partial``, because lists in it hold whole things."""
    cleared: ClassVar[Mapping[str, Callable[[], Any]]] = {}
    """What members get that are cleared."""

    def get_fields(self) -> dict[str, Any]:
        fields = super().get_fields()
        if _is_merged(self):
            for name, item in fields.items():
                item.allow_null = item.allow_null or self._emptied(name, item) is not None
                item.error_messages["null"] = "This can't be cleared; leave it out to keep it as it is."
        return fields

    def _emptied(self, name: str, one: serializers.Field[Any, Any, Any, Any]) -> Callable[[], Any] | None:
        if name in self.cleared:
            return self.cleared[name]
        return str if isinstance(one, serializers.CharField) and one.allow_blank else None

    def to_internal_value(self, data: Any) -> Any:
        faults = self._strange(data) if isinstance(data, Mapping) else {}
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

    def _strange(self, data: Mapping[str, Any]) -> dict[str, Any]:
        if len(data) > _MEMBERS_MAX:
            text = f"{len(data)} members; at most {_MEMBERS_MAX} may be here."
            raise serializers.ValidationError({"non_field_errors": [ErrorDetail(text, "members")]})
        faults: dict[str, Any] = {}
        for name in data:
            field = self.fields.get(name)
            if field is None:
                known = ", ".join(key for key, item in self.fields.items() if not item.read_only)
                faults[name] = [ErrorDetail(f"Unknown member; known are: {known}.", "unknown")]
            elif field.read_only:
                faults[name] = [ErrorDetail("This can be read, not written.", "read-only")]
            elif isinstance(field, serializers.BooleanField) and not isinstance(data[name], bool):
                faults[name] = [ErrorDetail("true or false is wanted here.", "flag")]
        return faults

    def _clear(self, values: dict[str, Any]) -> dict[str, Any]:
        for name in [name for name, value in values.items() if value is None]:
            if emptied := self._emptied(name, self.fields[name]):
                values[name] = emptied()
        return values


def _is_merged(body: serializers.Field[Any, Any, Any, Any]) -> bool:
    """Whether a body or an object in it is laid over what is stored; what is in a list stands for itself."""
    above = body.parent
    while above:
        if isinstance(above, _LISTS):
            return False
        body, above = above, above.parent
    return bool(getattr(body, "partial", False) or getattr(body, "merges", False))


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


def validated_data(kind: type[serializers.BaseSerializer[Any]], data: Any, *, partial: bool = False) -> dict[str, Any]:
    """The values of a body; refused whole when anything is wrong with it."""
    serializer = kind(data=data, partial=partial)
    if not serializer.is_valid():
        raise InvalidDocument(Fault(pointer, code, text) for pointer, code, text in _flat(serializer.errors, ""))
    return dict(serializer.validated_data)


def read_each(
    kind: type[serializers.BaseSerializer[Any]], bodies: Iterable[Any]
) -> Iterator[dict[str, Any] | InvalidDocument]:
    """Each body's values or why it is refused. The fields are made once, which takes longer than to read one."""
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
            for place, inner in enumerate(errors):
                yield from _flat(inner, pointer if isinstance(inner, ErrorDetail) else f"{pointer}/{place}")
