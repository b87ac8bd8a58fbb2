"""Tags for the line of places and the margin of a job's sheets."""

from __future__ import annotations

from typing import Any

from django import template

from quotes.office.navigation import PLACES, STAGES, allowed
from shared.members.queries import businesses_of

register = template.Library()


@register.inclusion_tag("office/places.html", takes_context=True)
def places(context: dict[str, Any], here: str = "") -> dict[str, Any]:
    """Show the main menu and the businesses a person can switch to."""
    request = context["request"]
    actor = getattr(request, "actor", None)
    others = list(businesses_of(request.user).exclude(pk=request.business.pk)) if actor else []
    words = request.GET.get("q", "")
    return {"places": allowed(PLACES, actor, here), "others": others, "request": request, "words": words}


@register.inclusion_tag("office/margin.html", takes_context=True)
def margin(context: dict[str, Any], job_ref: str, here: str = "job") -> dict[str, Any]:
    """Show the menu of a job."""
    return {"stages": allowed(STAGES, getattr(context["request"], "actor", None), here, job_ref)}
