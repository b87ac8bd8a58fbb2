"""One field of the measure sheet."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django import template
from django.utils.html import format_html_join

from quotes.office.fields import MeasureField

register = template.Library()


@register.filter
def label_of(code: str, names: Mapping[str, str]) -> str:
    """Return the label of a code, or the code itself."""
    return names.get(code, code)


@register.inclusion_tag("pages/box.html", takes_context=True)
def measured(context: dict[str, Any], field: MeasureField) -> dict[str, Any]:
    """Show a field with its label, and below it the value as read, its error or its hint."""
    fault = context.get("fault_of", {}).get(field.name, "")
    attributes = [("aria-describedby", f"{field.id}-note")]
    attributes += [("class", "figure")] if field.kind in ("number", "signed") else []
    attributes += [("aria-invalid", "true")] if fault else []
    if not context.get("may_write"):
        attributes.append(("disabled", "") if field.kind == "select" else ("readonly", ""))
    described = format_html_join("", ' {}="{}"', attributes)
    kind = "text" if field.kind == "signed" else field.kind
    box = {name: getattr(field, name) for name in ("id", "name", "label", "value", "choices", "hint", "echo")}
    return {"box": {**box, "kind": kind, "fault": fault, "fills": "off", "described_by": described, "is_live": True}}
