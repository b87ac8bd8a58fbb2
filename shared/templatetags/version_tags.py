"""The hidden fields that say which version a form shows."""

from __future__ import annotations

from typing import Any

from django import template
from django.utils.html import format_html
from django.utils.safestring import SafeString

from shared.web.seen_version import SEEN, VERSION, Facts, version_of, write_facts

register = template.Library()


@register.simple_tag
def seen(row: Any, facts: Facts | None = None) -> SafeString:
    """Write the version of a row and the values shown of it into a form."""
    field = '<input type="hidden" name="{}" value="{}">'
    version = format_html(field, VERSION, version_of(row))
    return version + format_html(field, SEEN, write_facts(facts)) if facts else version
