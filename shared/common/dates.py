"""Dates and times in the time zone and locale of a business.

Use these functions for every date that is compared or shown. The date of the server is wrong for half of the world.
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
    """Time zone and locale of a business."""

    time_zone: str
    locale: str


def local_day(business: Located, moment: datetime) -> date:
    """Return the date of a moment in the time zone of the business."""
    return moment.astimezone(ZoneInfo(business.time_zone)).date()


def today(business: Located) -> date:
    """Return today's date in the time zone of the business."""
    return local_day(business, timezone.now())


def latest_day_anywhere() -> date:
    """Return the latest date that is today anywhere on earth."""
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
    """Write a date in a locale, by default the active one. A moment is written as its date in the active time zone.

    >>> write_day(date(2026, 3, 9), "en_NZ"), write_day(date(2026, 3, 9), "de-DE", style="full")
    ('9 March 2026', 'Montag, 9. März 2026')
    """
    local = timezone.localtime(value).date() if isinstance(value, datetime) else value
    return format_date(local, style, locale=_read(locale))


def write_moment(value: datetime, locale: str = "", *, seconds: bool = False) -> str:
    """Write a date and time in a locale, in the active time zone.

    >>> from datetime import UTC
    >>> with dates_by("Pacific/Auckland", "en_NZ"):
    ...     write_moment(datetime(2026, 3, 8, 20, 30, tzinfo=UTC))
    '9 March 2026, 9:30\\u202fam'
    """
    local = timezone.localtime(value)
    time_of_day = format_time(local.time(), "medium" if seconds else "short", locale=_read(locale))
    return f"{write_day(value, locale)}, {time_of_day}"


def _read(locale: str) -> str:
    return (locale or _locale.get()).replace("-", "_")
