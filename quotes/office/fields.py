"""Fields of the measure page: text, choices, lengths, levels and heights."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from shared.common.typed_entries import metres

Choices = Sequence[tuple[str, str]]


@dataclass(frozen=True, slots=True)
class MeasureField:
    """``kind``: text, number (a decimal keyboard), signed (a keyboard that has a minus), or select.

    ``echo`` is a length read back in words.
    """

    name: str
    label: str
    value: str = ""
    kind: str = "text"
    choices: Choices = ()
    hint: str = ""
    echo: str = ""

    @property
    def id(self) -> str:
        return "f-" + self.name.replace("/", "-")

    @property
    def shown(self) -> str:
        """Return the value as text: the label of a choice, a length in metres, or the entry itself."""
        return dict(self.choices).get(self.value, self.echo or self.value)


def choice(name: str, label: str, value: Any, choices: Choices, empty: str | None = None) -> MeasureField:
    """Return a field with choices. A value that is not a choice is added, so that the user sees and corrects it."""
    text = field_text(value) or (choices[0][0] if empty is None else empty)
    known = list(choices) if any(text == item for item, _ in choices) else [*choices, (text, text)]
    return MeasureField(name, label, text, "select", known)


def field_text(value: Any) -> str:
    """Return a value of the document as the text of its field."""
    return "" if value is None else str(value)


def length_field(name: str, label: str, value: Any, hint: str = "") -> MeasureField:
    """Return a field for a length, shown in metres."""
    whole = type(value) is int
    return MeasureField(
        name,
        label,
        metres(value) if whole else field_text(value),
        "number",
        (),
        hint,
        f"{metres(value)} m" if whole else "",
    )


def level_field(name: str, label: str, value: Any, hint: str = "") -> MeasureField:
    """Return a field for a level, which may be negative."""
    return replace(length_field(name, label, value, hint), kind="signed")


def height_field(name: str, label: str, value: Any, hint: str = "") -> MeasureField:
    """Return a field for a height in millimetres, repeated in metres."""
    return MeasureField(
        name, label, field_text(value), "number", (), hint, f"{metres(value)} m" if type(value) is int else ""
    )
