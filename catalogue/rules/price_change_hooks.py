"""What a change of prices means for quotes that are still open. The stages above register who knows; we only ask."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from decimal import Decimal
from typing import Any

from catalogue.rules.codes import ImportKind
from shared.business.models import Business

Touched = Mapping[str, Decimal | None]
"""Skus that change, each with its new price where the file names one. Price rules touch everything and name no sku."""
Effect = Callable[[Business, ImportKind, Touched], list[dict[str, Any]]]
_EFFECTS: list[Effect] = []


def tells_effect(effect: Effect) -> Effect:
    """Registers what says which open quotes a change would touch."""
    if effect not in _EFFECTS:
        _EFFECTS.append(effect)
    return effect


def effect_on_quotes(business: Business, kind: ImportKind, touched: Touched) -> list[dict[str, Any]]:
    """Open quotes that a change would touch, as everybody who registered tells it."""
    return [data for effect in _EFFECTS for data in effect(business, kind, touched)]
