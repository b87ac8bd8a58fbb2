"""Filters that write days and times by the business's locale, in its time zone, and the tag for the version that a form shows."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

from django import template
from django.utils.html import format_html
from django.utils.safestring import SafeString

from shared.common.dates import write_day, write_moment
from shared.web.seen_version import SEEN, VERSION, Facts, version_of, write_facts

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


@register.simple_tag
def seen(row: Any, facts: Facts | None = None) -> SafeString:
    """Write the version of a row and the values shown of it into a form."""
    field = '<input type="hidden" name="{}" value="{}">'
    version = format_html(field, VERSION, version_of(row))
    return version + format_html(field, SEEN, write_facts(facts)) if facts else version
