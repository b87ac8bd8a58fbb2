"""Signals of jobs to later stages, and what is asked of them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, cast

from django.dispatch import Signal

from fencing.quantities.take_off import TakeOff
from fencing.strength.changed_job import SuggestedChange
from fencing.strength.document import write_change
from quotes.jobs.models import Job
from quotes.jobs.takeoff_cache import SystemWithPrices

job_state_changed = Signal()
"""A ``job`` changed its state by ``actor``. Receivers run in the transaction of the change."""

change_prices_requested = Signal()
"""Asks for the priced suggested changes of ``takeoff`` with ``found``, its system and prices. Quoting answers it."""

ordered_requested = Signal()
"""Asks for the quantities ordered for ``job``, by role. Purchasing answers it."""


@dataclass(frozen=True, slots=True)
class Ordered:
    """Quantity of a role that was ordered for a job, in sale units, and what it costs before tax."""

    quantity: Decimal
    cost: Decimal


def ordered_for(job: Job) -> dict[str, Ordered]:
    """Return the quantities ordered for a job by role; empty if nothing is ordered."""
    [(_, ordered)] = ordered_requested.send(sender=Job, job=job)
    return cast("dict[str, Ordered]", ordered)


def with_prices(document: Mapping[str, Any], taken: TakeOff, found: SystemWithPrices) -> dict[str, Any]:
    """Return a take-off document with the price of each suggested change; unchanged if it has no screening."""
    screened = document.get("strength")
    if not screened or not screened["suggested_changes"]:
        return dict(document)
    [(_, priced)] = change_prices_requested.send(sender=TakeOff, takeoff=taken, found=found)
    changes = [write_change(change) for change in cast("tuple[SuggestedChange, ...]", priced)]
    return {**document, "strength": {**screened, "suggested_changes": changes}}
