"""What a change of prices means for quotes that are still open. The stages above register who knows; we only ask."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from catalogue.codes import ImportKind
from shared.business.models import Business

Effect = Callable[[Business, ImportKind, frozenset[str]], list[dict[str, Any]]]
_EFFECTS: list[Effect] = []


def tells_effect(effect: Effect) -> Effect:
    """Registers what says which open quotes a change would touch: of these skus, or (none named) of every price rule."""
    if effect not in _EFFECTS:
        _EFFECTS.append(effect)
    return effect


def effect_on_quotes(business: Business, kind: ImportKind, skus: frozenset[str]) -> list[dict[str, Any]]:
    """Open quotes that would be priced differently, as everybody who registered tells it."""
    return [told for effect in _EFFECTS for told in effect(business, kind, skus)]
