"""Days and times where a business is, written by its locale.

Every day that is compared or shown comes from here: the server's own day is the wrong one for half of the world.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import date, datetime
from typing import Literal, Protocol
from zoneinfo import ZoneInfo

from babel.dates import format_date, format_time
from django.utils import timezone

_locale: ContextVar[str] = ContextVar("locale of dates", default="en")


class Located(Protocol):
    """A business, as far as its days are concerned."""

    time_zone: str
    locale: str


def local_day(business: Located, moment: datetime) -> date:
    """Return the day a moment falls on where the business is."""
    return moment.astimezone(ZoneInfo(business.time_zone)).date()


def today(business: Located) -> date:
    """Return the day it is now where the business is."""
    return local_day(business, timezone.now())


def latest_day_anywhere() -> date:
    """Return the latest day it is now at any place on earth: no business is further ahead."""
    return timezone.now().astimezone(ZoneInfo("Pacific/Kiritimati")).date()


@contextmanager
def dates_by(time_zone: str, locale: str) -> Iterator[None]:
    """Show times in this zone and dates by this locale inside the block."""
    token = _locale.set(locale)
    try:
        with timezone.override(ZoneInfo(time_zone)):
            yield
    finally:
        _locale.reset(token)


def activate_dates(business: Located) -> None:
    """Show times and dates as the business does until the surrounding ``dates_by`` ends."""
    _locale.set(business.locale)
    timezone.activate(ZoneInfo(business.time_zone))


def write_day(value: date | datetime, locale: str = "", *, style: Literal["long", "full"] = "long") -> str:
    """Write a day in words by a locale, the active one if none is given; a moment gives its day in the active zone.

    >>> write_day(date(2026, 3, 9), "en_NZ"), write_day(date(2026, 3, 9), "de-DE", style="full")
    ('9 March 2026', 'Montag, 9. März 2026')
    """
    return format_date(_in_zone(value), style, locale=_read(locale))


def write_moment(value: datetime, locale: str = "", *, seconds: bool = False) -> str:
    """Write a day and a time of day by a locale, in the active zone.

    >>> from datetime import UTC
    >>> with dates_by("Pacific/Auckland", "en_NZ"):
    ...     write_moment(datetime(2026, 3, 8, 20, 30, tzinfo=UTC))
    '9 March 2026, 9:30\\u202fam'
    """
    local = timezone.localtime(value)
    time_of_day = format_time(local.time(), "medium" if seconds else "short", locale=_read(locale))
    return f"{write_day(value, locale)}, {time_of_day}"


def _in_zone(value: date | datetime) -> date:
    return timezone.localtime(value).date() if isinstance(value, datetime) else value


def _read(locale: str) -> str:
    return (locale or _locale.get()).replace("-", "_")
