"""One field of the measure sheet."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django import template

from quotes.office.fields import MeasureField

register = template.Library()


@register.filter
def label_of(code: str, names: Mapping[str, str]) -> str:
    """Return the label of a code, or the code itself."""
    return names.get(code, code)


@register.inclusion_tag("office/field.html", takes_context=True)
def measured(context: dict[str, Any], field: MeasureField) -> dict[str, Any]:
    """Show a field with its label, the value as read, and its error."""
    return {
        "field": field,
        "fault": context.get("fault_of", {}).get(field.name, ""),
        "locked": not context.get("may_write"),
    }
