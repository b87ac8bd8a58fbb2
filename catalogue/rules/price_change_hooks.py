"""Hooks that report which open quotes use a price. Apps that depend on the catalogue register them."""

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
    """Register a function that returns the open quotes that use a changed price."""
    if effect not in _EFFECTS:
        _EFFECTS.append(effect)
    return effect


def effect_on_quotes(business: Business, kind: ImportKind, touched: Touched) -> list[dict[str, Any]]:
    """Return the open quotes that use a changed price, from all registered functions."""
    return [data for effect in _EFFECTS for data in effect(business, kind, touched)]
