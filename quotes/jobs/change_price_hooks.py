"""Hook for the prices of suggested changes to a screened fence. The app that sets prices registers it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from fencing.quantities.take_off import TakeOff
from fencing.strength.changed_job import SuggestedChange
from fencing.strength.document import change_document
from quotes.jobs.system_lookup import SystemWithPrices

Prices = Callable[[TakeOff, SystemWithPrices], Sequence[SuggestedChange]]
_PRICERS: list[Prices] = []


def prices_remedies(price: Prices) -> Prices:
    """Register the function that prices the suggested changes of a take-off. The last one registered is used."""
    if price not in _PRICERS:
        _PRICERS.append(price)
    return price


def with_prices(document: Mapping[str, Any], taken: TakeOff, found: SystemWithPrices) -> dict[str, Any]:
    """Return a take-off document with the price of each suggested change; unchanged if it has no screening."""
    screened = document.get("strength")
    if not screened or not screened["suggested_changes"] or not _PRICERS:
        return dict(document)
    changes = [change_document(change) for change in _PRICERS[-1](taken, found)]
    return {**document, "strength": {**screened, "suggested_changes": changes}}
