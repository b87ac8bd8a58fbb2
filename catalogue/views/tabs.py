"""The parts of the prices as the line above them names them."""

from __future__ import annotations

from catalogue.api.resources import RESOURCES
from shared.business.access import MemberRequest

WORDS = {
    "components": "Components", "supplier_prices": "Supplier prices", "price-rules": "Price rules", "suppliers": "Suppliers",
    "supplier-terms": "Supplier terms", "finishes": "Finishes",
}  # fmt: skip
ONE = {
    "components": "a component", "supplier-prices": "a supplier price", "price-rules": "a price rule", "suppliers": "a supplier",
    "supplier-terms": "a supplier's terms", "finishes": "a finish",
}  # fmt: skip


def visible(request: MemberRequest) -> list[str]:
    """Return the lists that the user may read."""
    return [name for name in WORDS if request.actor.may(RESOURCES[name].read)]


def parts_line(request: MemberRequest) -> list[tuple[str, str]]:
    """Each list with its word."""
    return [(name, WORDS[name]) for name in visible(request)]
