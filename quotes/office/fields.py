"""One field of a sheet, and fields that are chosen from a list."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

Choices = Sequence[tuple[str, str]]


@dataclass(frozen=True, slots=True)
class MeasureField:
    """``kind``: text, number (a decimal keyboard), signed (a keyboard that has a minus), or choice.

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
        """What it says in words: the choice's, the length as it was read, or what was typed."""
        return dict(self.choices).get(self.value, self.echo or self.value)


def choice(name: str, label: str, value: Any, choices: Choices, otherwise: str | None = None) -> MeasureField:
    """What was written stands even where it can't be chosen, so that it is seen and can be mended."""
    text = field_text(value) or (choices[0][0] if otherwise is None else otherwise)
    known = list(choices) if any(text == item for item, _ in choices) else [*choices, (text, text)]
    return MeasureField(name, label, text, "choice", known)


def field_text(value: Any) -> str:
    """A member as the text of its field."""
    return "" if value is None else str(value)
