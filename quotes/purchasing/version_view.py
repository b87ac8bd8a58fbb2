"""Values of orders, stock and reservations that people decide by, by label. Pages send them back to find what changed."""

from __future__ import annotations

from fencing.buying.purchase_lines import plain
from quotes.purchasing.api_fields import amount
from quotes.purchasing.models import Decision, OrderLine, OrderResponseLine, Reservation, StockItem, SupplierOrder


def order_facts(order: SupplierOrder) -> dict[str, str]:
    """Return state, days, total, and for each line its quantities, price and what the supplier proposes."""
    rows = OrderResponseLine.objects.of(order.business).filter(line__order=order, decision=Decision.WAITING)
    proposals = {row.line_id: row for row in rows}
    found = {**delivery_facts(order), "Total": amount(order.total, order.currency)}
    for line in _lines(order):
        label = _label(line)
        found[label] = f"{found[label]} at {amount(line.price, order.currency)}"
        if proposal := proposals.get(line.pk):
            found[f"{label}, proposed"] = _proposal(proposal, order.currency)
    return found


def delivery_facts(order: SupplierOrder) -> dict[str, str]:
    """Return the same without any money."""
    days = {"Deliver by": order.deliver_by, "Promised date": order.promised_on}
    found = {"State": str(order.get_state_display()), **{name: str(day or "") for name, day in days.items()}}
    for line in _lines(order):
        found[_label(line)] = f"{plain(line.quantity)} ordered, {plain(line.outstanding)} outstanding"
    return found


def item_facts(item: StockItem) -> dict[str, str]:
    """Return what is in stock of an item and how much of it is reserved."""
    return {"On hand": plain(item.quantity), "Reserved for jobs": plain(item.reserved), "Location": item.location}


def reservation_facts(row: Reservation) -> dict[str, str]:
    """Return the status and quantity of a reservation."""
    return {"Status": str(row.get_state_display()), "Reserved": plain(row.quantity)}


def _lines(order: SupplierOrder) -> list[OrderLine]:
    return list(OrderLine.objects.of(order.business).filter(order=order).order_by("position"))


def _label(line: OrderLine) -> str:
    return f"Line {line.position} {line.label}"


def _proposal(proposal: OrderResponseLine, currency: str) -> str:
    price = "" if proposal.price is None else amount(proposal.price, currency)
    return ", ".join(text for text in (price, str(proposal.promised_on or "")) if text)
