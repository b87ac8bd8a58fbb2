"""Filters that write days and times in the one style of all pages: by the business's locale, in its time zone."""

from __future__ import annotations

from datetime import date, datetime

from django import template

from shared.common.dates import write_day, write_moment

register = template.Library()


@register.filter
def day(value: date | datetime | None) -> str:
    """Write a day in words; nothing if there is none."""
    return write_day(value) if value else ""


@register.filter
def moment(value: datetime | None) -> str:
    """Write a day and a time of day; nothing if there is none."""
    return write_moment(value) if value else ""


@register.filter
def weekday(value: date) -> str:
    """Write a day with the name of its weekday."""
    return write_day(value, style="full")
