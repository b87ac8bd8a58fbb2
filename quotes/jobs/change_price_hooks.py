"""What would help a screened fence, priced. What prices a job comes later in its life and registers itself here."""

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
    """Registers what prices the changes of a take-off; the last to register is asked."""
    if price not in _PRICERS:
        _PRICERS.append(price)
    return price


def with_prices(document: Mapping[str, Any], taken: TakeOff, found: SystemWithPrices) -> dict[str, Any]:
    """A take-off document with what each change of its screening adds to the price; without a screening as it was."""
    screened = document.get("strength")
    if not screened or not screened["suggested_changes"] or not _PRICERS:
        return dict(document)
    changes = [change_document(change) for change in _PRICERS[-1](taken, found)]
    return {**document, "strength": {**screened, "suggested_changes": changes}}
