"""Tabs of the pages of prices."""

from __future__ import annotations

from catalogue.api.resources import RESOURCES
from shared.members.access import MemberRequest

WORDS = {
    "components": "Components", "supplier-prices": "Supplier prices", "price-rules": "Price rules", "suppliers": "Suppliers",
    "supplier-terms": "Supplier terms", "finishes": "Finishes",
}  # fmt: skip
ONE = {
    "components": "component", "supplier-prices": "supplier price", "price-rules": "price rule", "suppliers": "supplier",
    "supplier-terms": "supplier terms", "finishes": "finish",
}  # fmt: skip


def visible(request: MemberRequest) -> list[str]:
    """Return the lists that the user may read."""
    return [name for name in WORDS if request.actor.may(RESOURCES[name].read)]


def parts_line(request: MemberRequest) -> list[tuple[str, str]]:
    """Return each list with its label."""
    return [(name, WORDS[name]) for name in visible(request)]
