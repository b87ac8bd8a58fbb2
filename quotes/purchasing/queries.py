"""Queries of orders and stock. ``order_sheet`` returns the values of a printed order."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from decimal import Decimal
from fractions import Fraction
from typing import Any

from django.db.models import QuerySet
from django.db.models.expressions import RawSQL

from fencing.buying.purchase_lines import plain
from fencing.cautions import Reader, select_cautions
from fencing.cautions.facts import CautionFacts
from fencing.model.roles import RANK, ROLES
from quotes.documents import number_format
from quotes.jobs.hooks import Ordered
from quotes.jobs.models import Job
from quotes.purchasing.api_fields import amount
from quotes.purchasing.models import (
    Decision,
    LineJob,
    OrderEvent,
    OrderLine,
    OrderResponseLine,
    OrderState,
    Reservation,
    StockItem,
    StockMovement,
    SupplierOrder,
)
from quotes.purchasing.order_totals import due
from shared.business.business_owned import OwnedQuerySet
from shared.common.money import minor_digits, rounded, shown
from shared.common.problems import Problem
from shared.models import Business, SupplierAccount

ZERO = Decimal(0)
_NOTHING = RawSQL("0", ())  # no parameter, so that the query is the same for every business
KILOGRAM, CUBIC_METRE, METRE = "kg", "m3", "m"
UNITS = {"KGM": KILOGRAM, "MTQ": CUBIC_METRE, "MTR": METRE}


def orders(business: Business, parameters: Mapping[str, str] | None = None) -> OwnedQuerySet[SupplierOrder]:
    """Return orders by ``status``, ``supplier`` (code), ``job`` (ref) and ``number``."""
    parameters, rows = parameters or {}, SupplierOrder.objects.of(business)
    rows = rows.filter(state=requested_status(parameters)) if parameters.get("status") else rows
    by = {"supplier": "supplier__code", "number": "number__iexact"}
    rows = rows.filter(**{column: parameters[name] for name, column in by.items() if parameters.get(name)})
    if parameters.get("job"):
        rows = rows.filter(pk__in=LineJob.objects.of(business).filter(job__ref=parameters["job"]).values("line__order"))
    return rows


def requested_status(parameters: Mapping[str, str]) -> str:
    """Return the requested status. Raise 400 for an unknown one."""
    if parameters["status"] not in OrderState.values:
        detail = f"Choose from: {', '.join(OrderState.values)}."
        raise Problem("invalid-parameter", errors=[{"parameter": "status", "code": "status", "detail": detail}])
    return parameters["status"]


def orders_of(account: SupplierAccount) -> QuerySet[SupplierOrder]:
    """Return a supplier's placed orders in every business it serves."""
    rows = SupplierOrder.unscoped.filter(supplier__account=account)  # unscoped: a supplier's own, in every business
    return rows.filter(placed_at__isnull=False)


def lines(order: SupplierOrder) -> OwnedQuerySet[OrderLine]:
    """Return the lines of an order."""
    return OrderLine.objects.of(order.business).filter(order=order)


def events(order: SupplierOrder) -> OwnedQuerySet[OrderEvent]:
    """Return the events of an order."""
    return OrderEvent.objects.of(order.business).filter(order=order)


def stock(business: Business, parameters: Mapping[str, str] | None = None) -> OwnedQuerySet[StockItem]:
    """Return stock by ``component`` (sku), ``role``, ``kind`` and the ``job`` it is reserved for, without used items."""
    parameters, rows = parameters or {}, StockItem.objects.of(business).filter(quantity__gt=_NOTHING)
    by = {"component": "component__sku", "role": "component__role", "kind": "kind"}
    rows = rows.filter(**{column: parameters[name] for name, column in by.items() if parameters.get(name)})
    if parameters.get("job"):
        rows = rows.filter(
            pk__in=Reservation.objects.of(business).filter(job__ref=parameters["job"], state="reserved").values("item")
        )
    return rows


def reservations(business: Business) -> OwnedQuerySet[Reservation]:
    """Return the reservations."""
    return Reservation.objects.of(business)


def movements(item: StockItem) -> OwnedQuerySet[StockMovement]:
    """Return the movements of a stock item."""
    return StockMovement.objects.of(item.business).filter(item=item)


def ordered(job: Job) -> dict[str, Ordered]:
    """Return the placed quantities and costs of a job by role, without cancelled goods and goods returned for credit."""
    found: dict[str, Ordered] = {}
    digits = minor_digits(job.business.currency)
    rows = LineJob.objects.of(job.business).filter(job=job, line__order__placed_at__isnull=False)
    for part in rows.exclude(line__order__state=OrderState.CANCELLED).select_related("line"):
        line, kept = part.line, part.line.quantity - part.line.cancelled - part.line.credited
        due = line.quantity - line.cancelled
        cost = Fraction(part.net) * Fraction(kept) / Fraction(due) if due else Fraction(0)
        before = found.get(line.role, Ordered(ZERO, ZERO))
        quantity = part.quantity * kept / line.quantity
        found[line.role] = Ordered(before.quantity + quantity, before.cost + rounded(cost, digits))
    return found


def picked(order: SupplierOrder) -> list[OrderLine]:
    """Return the lines to deliver in picking order: by role, the longest first, then by finish."""
    rows = [row for row in lines(order) if due(row)]
    return sorted(rows, key=lambda row: (RANK[row.role], -(row.length_mm or 0), row.finish, row.position))


def line_mass(line: OrderLine) -> Decimal | None:
    """Return the mass of a line's quantity to deliver in kg; None if it is unknown."""
    return None if line.mass_kg is None else (line.mass_kg * due(line) / line.quantity).quantize(Decimal("0.001"))


def load_of(rows: Iterable[OrderLine]) -> Decimal:
    """Return the known mass of the load in kg."""
    return sum((line_mass(row) or ZERO for row in rows), ZERO)


def order_sheet(order: SupplierOrder, *, priced: bool = True) -> dict[str, Any]:
    """Return the values of an order list: lines in picking order with packs and pieces, address, dates and load."""
    rows = picked(order)
    jobs = Job.objects.of(order.business).filter(order_parts__line__order=order).distinct().order_by("number")
    load, unweighed = load_of(rows), any(row.mass_kg is None for row in rows)
    place = order.deliver_to
    return {
        "heading": f"Order {order.number}",
        "supplier": order.parties_snapshot.get("seller", {}).get("name") or order.supplier.name,
        "job": ", ".join(job.number for job in jobs) or "stock",
        "deliver_to": ", ".join(place[name] for name in ("address", "postcode", "city") if place.get(name)),
        "deliver_when": _window(order),
        "load": f"{number_format.plain(load, order.business.locale)} kg{' plus goods of unknown mass' if unweighed else ''}",
        "reference": order.number,
        "cautions": [*([order.note] if order.note else []), *loading_cautions(rows)],
        "groups": _groups(order, rows),
        "priced": priced,
        "money_head": f"{order.currency}, before tax",
        "totals": _totals(order) if priced else [],
    }


def loading_cautions(rows: list[OrderLine]) -> list[str]:
    """Return the cautions for loading and delivery."""
    facts = CautionFacts(lifting=True, sheets=any(row.role == "sheet" for row in rows))
    return [item.text for item in select_cautions(facts, Reader.SUPPLIER)]


def _window(order: SupplierOrder) -> str:
    days = [number_format.day(item, order.business.locale) for item in (order.deliver_from, order.deliver_by) if item]
    return " to ".join(days) or "as soon as possible"


def _groups(order: SupplierOrder, rows: list[OrderLine]) -> list[dict[str, Any]]:
    groups: list[dict[str, Any]] = []
    for row in rows:
        heading = ROLES[row.role].plural.capitalize()
        if not groups or groups[-1]["heading"] != heading:
            groups.append({"heading": heading, "lines": []})
        groups[-1]["lines"].append(_sheet_line(order, row))
    return groups


def _sheet_line(order: SupplierOrder, row: OrderLine) -> dict[str, str]:
    quantity, locale = row.quantity - row.cancelled, order.business.locale
    packs, loose = divmod(quantity, row.pack)
    packed = f"{number_format.plain(packs, locale)} of {number_format.plain(row.pack, locale)}"
    unit = UNITS.get(row.unit, "")
    made = row.purchase_reason[0] if row.purchase_reason and " made to " in row.purchase_reason[0] else ""
    return {
        "sku": row.supplier_sku or row.sku,
        "text": f"{row.label}: {made}" if made else row.label,
        "length": str(row.length_mm or ""),
        "finish": row.finish,
        "quantity": f"{number_format.plain(quantity, locale)} {unit}".strip(),
        "packs": "" if row.pack == 1 else packed + (f" + {number_format.plain(loose, locale)}" if loose else ""),
        "each": number_format.cash(row.price, order.currency, locale),
        "amount": number_format.cash(row.net, order.currency, locale),
    }


def _totals(order: SupplierOrder) -> list[dict[str, Any]]:
    locale = order.business.locale

    def row(text: str, amount: Decimal, *, strong: bool = False) -> dict[str, Any]:
        written = (
            shown(amount, order.currency, locale) if strong else number_format.cash(amount, order.currency, locale)
        )
        return {"text": text, "amount": written, "strong": strong}

    return [
        row("Goods before tax", order.goods),
        *([row("Delivery before tax", order.delivery_fee)] if order.delivery_fee else []),
        row(order.business.tax_name, order.tax),
        row("Total including tax", order.total, strong=True),
    ]


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
