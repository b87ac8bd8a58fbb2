"""Formats of an order, all with the same totals, and conversion of suppliers' UBL documents."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import asdict
from decimal import Decimal
from typing import Any

import orjson

from catalogue.rules.codes import sale_unit
from fencing.model.faults import Fault, InvalidDocument
from quotes.integrations.order_spreadsheet import order_csv, order_xlsx
from quotes.integrations.ubl.documents import (
    LineStatus,
    OrderDocument,
    ResponseLine,
    UblAddress,
    UblDespatchAdvice,
    UblOrderLine,
    UblOrderResponse,
    UblParty,
    UblTaxSubtotal,
)
from quotes.integrations.ubl.order import write_order
from quotes.purchasing import queries, serializers
from quotes.purchasing.api_fields import amount, number
from quotes.purchasing.deliveries import DespatchData, DespatchLineData
from quotes.purchasing.models import LineAction, SupplierOrder
from quotes.purchasing.models import OrderLine as Line
from quotes.purchasing.order_pdf import order_pdf
from quotes.purchasing.order_responses import LineResponseData, OrderResponseData
from quotes.purchasing.order_totals import due, taxes
from quotes.purchasing.services import face_of
from shared.api.serializers import StrictSerializer, validated_data
from shared.common.dates import local_day
from shared.common.json_encoder import write_json


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


def read_order_response(document: UblOrderResponse, order: SupplierOrder) -> OrderResponseData:
    """Convert a UBL order response. Raise InvalidDocument if it is for another order or in another currency."""
    faults = _wrong_order(document.order, order)
    if document.currency and document.currency != order.currency:
        text = f"This order is in {order.currency}, the document in {document.currency}."
        faults.append(Fault("/DocumentCurrencyCode", "currency", text))
    known = {str(line.position): line for line in _lines(order)}
    lines: list[LineResponseData] = []
    for place, item in enumerate(document.lines):
        line, at = known.get(item.order_line), f"/OrderLine/{place}"
        if line is None:
            faults.append(Fault(f"{at}/OrderLineReference", "unknown", f"The order has no line {item.order_line}."))
        elif item.status not in _ACTIONS:
            text = "Added and delivered lines are not supported. Send 3, 5 or 7."
            faults.append(Fault(f"{at}/LineStatusCode", "line.status", text))
        else:
            faults += _wrong_unit(item.unit, line, f"{at}/Quantity")
            lines.append(_line_response(item, line))
    if faults:
        raise InvalidDocument(faults)
    data = OrderResponseData(document.id, document.code.value, document.note, document.promised_on, tuple(lines))
    return serializers.read_response(_bounded(serializers.OrderResponseIn, data))


_ACTIONS = {
    LineStatus.ACCEPTED: LineAction.ACCEPT,
    LineStatus.REFUSED: LineAction.REJECT,
    LineStatus.CHANGED: LineAction.CHANGE,
}


def _line_response(item: ResponseLine, line: Line) -> LineResponseData:
    """Return the response of one line as the document states it. Unchanged values are removed when it is recorded."""
    if item.status != LineStatus.CHANGED:
        refused = item.status == LineStatus.REFUSED
        reason = item.note or ("refused" if refused else "")
        return LineResponseData(
            line.position, _ACTIONS[item.status].value, reason, promised_on=None if refused else item.promised_on
        )
    return LineResponseData(
        line.position, LineAction.CHANGE.value, item.note, item.quantity, item.price, item.promised_on
    )


def read_docket(document: UblDespatchAdvice, order: SupplierOrder) -> DespatchData:
    """Convert a UBL despatch advice of this order."""
    faults = _wrong_order(document.order, order)
    known = {str(line.position): line for line in _lines(order)}
    loaded: list[DespatchLineData] = []
    for place, item in enumerate(document.lines):
        line = known.get(item.order_line)
        if line is None:
            text = f"The order has no line {item.order_line}."
            faults.append(Fault(f"/DespatchLine/{place}/OrderLineReference", "unknown", text))
        elif item.quantity:
            faults += _wrong_unit(item.unit, line, f"/DespatchLine/{place}/DeliveredQuantity")
            loaded.append(DespatchLineData(line.position, item.quantity, item.outstanding_reason))
    if faults:
        raise InvalidDocument(faults)
    docket = DespatchData(document.id, tuple(loaded), document.despatched, document.arrives, document.note)
    return serializers.read_despatch(_bounded(serializers.DespatchIn, docket))


def _bounded(kind: type[StrictSerializer], value: OrderResponseData | DespatchData) -> dict[str, Any]:
    """Check values with the limits of the JSON API: the UBL schema allows numbers and texts of any size."""
    return validated_data(kind, orjson.loads(write_json(asdict(value))))


_ONES = frozenset({"C62", "H87", "EA"})


def _wrong_unit(unit: str, line: Line, at: str) -> list[Fault]:
    item = sale_unit(unit) if unit else line.unit
    if item == line.unit or {item, line.unit} <= _ONES:
        return []
    return [Fault(at, "unit.other", f"Line {line.position} is ordered in {line.unit}, not {unit}.")]


def _wrong_order(named: str, order: SupplierOrder) -> list[Fault]:
    if named == order.number:
        return []
    return [Fault("/OrderReference", "order.other", f"This address is of order {order.number}, not {named}.")]
