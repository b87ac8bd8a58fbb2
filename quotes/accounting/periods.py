"""Locked days, and the first open day for later entries."""

from __future__ import annotations

from datetime import date, timedelta

from quotes.accounting.models import PeriodLock
from shared.models import Business


def open_day(business: Business, day: date) -> date:
    """Return the day itself, or the first day after the locked period."""
    until = locked_until(business)
    return day if until is None or day > until else until + timedelta(days=1)


def locked_until(business: Business) -> date | None:
    """Return the last locked day."""
    last: date | None = (
        PeriodLock.objects.of(business).order_by("-locked_through").values_list("locked_through", flat=True).first()
    )
    return last
