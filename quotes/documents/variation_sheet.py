"""Changes of a variation on paper: lines added, removed or changed, and changed quantities."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from fencing.model.roles import part
from quotes.documents.number_format import MINUS, quantity

Document = Mapping[str, Any]


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
            part(row["role"]).capitalize(),
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
