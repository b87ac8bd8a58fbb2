"""Which days are final, and where what comes later is entered."""

from __future__ import annotations

from datetime import date, timedelta

from quotes.accounting.models import PeriodLock
from shared.models import Business


def open_day(business: Business, wanted: date) -> date:
    """The day itself, or the first one after the locked period."""
    until = locked_until(business)
    return wanted if until is None or wanted > until else until + timedelta(days=1)


def locked_until(business: Business) -> date | None:
    """The last locked day."""
    last: date | None = PeriodLock.objects.of(business).order_by("-until").values_list("until", flat=True).first()
    return last
