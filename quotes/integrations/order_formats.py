"""Formats of an order, all with the same totals, and conversion of suppliers' UBL documents."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from decimal import Decimal

from quotes.integrations.order_spreadsheet import order_csv, order_xlsx
from quotes.integrations.ubl.documents import (
    OrderDocument,
    UblAddress,
    UblOrderLine,
    UblParty,
    UblTaxSubtotal,
)
from quotes.integrations.ubl.order import write_order
from quotes.purchasing import queries
from quotes.purchasing.api_fields import amount, number
from quotes.purchasing.models import OrderLine as Line
from quotes.purchasing.models import SupplierOrder
from quotes.purchasing.order_lists import order_pdf
from quotes.purchasing.order_totals import due, taxes
from quotes.purchasing.services import face_of
from shared.common.dates import local_day


def ubl_values(order: SupplierOrder) -> OrderDocument:
    """Return the values of a UBL Order, without cancelled quantities."""
    every = _lines(order)
    # a UBL Order has lines: a cancelled order has all of them, with quantity 0
    lines = [line for line in every if due(line)] or every
    data = order.parties_snapshot or face_of(order)
    rows = [UblTaxSubtotal(row.category, row.rate, row.taxable, row.tax) for row in taxes(order, lines)]
    place = order.deliver_to
    return OrderDocument(
        id=order.number,
        issued=order.placed_on or local_day(order.business, order.created_at),
        currency=order.currency,
        buyer=ubl_party(data["buyer"]),
        seller=ubl_party(data["seller"]),
        lines=tuple(_ubl_line(line, order.currency) for line in lines),
        lines_total=Decimal(amount(order.goods, order.currency)),
        taxes=tuple(sorted(rows, key=lambda row: (row.category, row.percent))),
        tax=Decimal(amount(order.tax, order.currency)),
        total=Decimal(amount(order.total, order.currency)),
        payable=Decimal(amount(order.total, order.currency)),
        charge=Decimal(amount(order.delivery_fee, order.currency)) if order.delivery_fee else Decimal(0),
        charge_reason="Delivery" if order.delivery_fee else "",
        charge_tax_category=order.fee_tax_category,
        charge_tax_percent=Decimal(number(order.fee_tax_rate)),
        deliver_to=UblAddress(
            " ".join(place.get("address", "").split()),
            place.get("city", ""),
            place.get("postcode", ""),
            place.get("country", ""),
        ),
        deliver_from=order.deliver_from,
        deliver_by=order.deliver_by,
        note=" ".join(order.note.split()),
        buyer_reference=order.ref,
    )


def _lines(order: SupplierOrder) -> list[Line]:
    return list(queries.lines(order).order_by("position"))


def ubl_party(snapshot: Mapping[str, str]) -> UblParty:
    """Return a party of an order for UBL."""
    gln = snapshot.get("gln", "")
    return UblParty(
        snapshot["name"],
        UblAddress(
            " ".join(snapshot.get("address", "").split()),
            snapshot.get("city", ""),
            snapshot.get("postcode", ""),
            snapshot.get("country", ""),
        ),
        gln or snapshot.get("email", ""),
        "0088" if gln else "EM" if snapshot.get("email") else "",
        snapshot.get("registration_number", ""),
        snapshot.get("tax_number", ""),
    )


def _ubl_line(line: Line, currency: str) -> UblOrderLine:
    made = line.purchase_reason[0] if line.purchase_reason and " made to " in line.purchase_reason[0] else ""
    return UblOrderLine(
        id=str(line.position),
        name=line.label,
        quantity=Decimal(number(due(line))),
        unit=line.unit,
        price=Decimal(amount(line.price, currency)),
        net=Decimal(amount(line.net, currency)),
        seller_sku=line.supplier_sku,
        buyer_sku=line.sku,
        gtin=line.gtin,
        note=made,
        tax_category=line.tax_category,
        tax_percent=Decimal(number(line.tax_rate)),
    )


def order_ubl(order: SupplierOrder) -> bytes:
    """Return the order as UBL 2.1."""
    return write_order(ubl_values(order))


FORMS: dict[str, tuple[str, Callable[[SupplierOrder], bytes]]] = {
    "xml": ("application/xml", order_ubl),
    "csv": ("text/csv; charset=utf-8", order_csv),
    "xlsx": ("application/vnd.openxmlformats-officedocument.spreadsheetml.sheet", order_xlsx),
    "pdf": ("application/pdf", order_pdf),
}
"""Media type and writer by suffix; JSON is the API's own."""
