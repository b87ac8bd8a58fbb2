"""Hook for the quantities ordered for a job. The app that orders materials registers it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from decimal import Decimal

from quotes.jobs.models import Job


@dataclass(frozen=True, slots=True)
class Ordered:
    """Quantity of a role that was ordered for a job, in sale units, and what it costs before tax."""

    quantity: Decimal
    cost: Decimal


Tells = Callable[[Job], Mapping[str, Ordered]]
_TELLERS: list[Tells] = []


def tells_ordered(tell: Tells) -> Tells:
    """Register the function that returns the quantities ordered for a job, by role."""
    if tell not in _TELLERS:
        _TELLERS.append(tell)
    return tell


def ordered_for(job: Job) -> dict[str, Ordered]:
    """Return the quantities ordered for a job by role; empty if nothing is ordered."""
    found: dict[str, Ordered] = {}
    for tell in _TELLERS:
        for role, item in tell(job).items():
            before = found.get(role, Ordered(Decimal(0), Decimal(0)))
            found[role] = Ordered(before.quantity + item.quantity, before.cost + item.cost)
    return found
