"""An order in every form it is downloaded in, with the same totals; and what suppliers' UBL says of it, in and out."""

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
from shared.api.json_encoder import write_json
from shared.api.serializers import StrictSerializer, validated_data
from shared.common.dates import local_day


def ubl_values(order: SupplierOrder) -> OrderDocument:
    """The order as a UBL Order says it; what was cancelled is left out."""
    every = _lines(order)
    # UBL knows no Order without lines: one that was cancelled whole has them all, of nothing
    lines = [line for line in every if due(line)] or every
    data = order.face or face_of(order)
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


def ubl_party(told: Mapping[str, str]) -> UblParty:
    """A side of an order as UBL names it."""
    gln = told.get("gln", "")
    return UblParty(
        told["name"],
        UblAddress(
            " ".join(told.get("address", "").split()),
            told.get("city", ""),
            told.get("postcode", ""),
            told.get("country", ""),
        ),
        gln or told.get("email", ""),
        "0088" if gln else "EM" if told.get("email") else "",
        told.get("registration_number", ""),
        told.get("tax_number", ""),
    )


def _ubl_line(line: Line, currency: str) -> UblOrderLine:
    made = line.why[0] if line.why and " made to " in line.why[0] else ""
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
    """The order as UBL 2.1."""
    return write_order(ubl_values(order))


FORMS: dict[str, tuple[str, Callable[[SupplierOrder], bytes]]] = {
    "xml": ("application/xml", order_ubl),
    "csv": ("text/csv; charset=utf-8", order_csv),
    "xlsx": ("application/vnd.openxmlformats-officedocument.spreadsheetml.sheet", order_xlsx),
    "pdf": ("application/pdf", order_pdf),
}
"""Media type and writer by suffix; JSON is the API's own."""


def read_reply(document: UblOrderResponse, order: SupplierOrder) -> OrderResponseData:
    """A UBL UblOrderResponse as a reply to this order. Refused when it is about another order or in another currency."""
    faults = _wrong_order(document.order, order)
    if document.currency and document.currency != order.currency:
        text = f"This order is in {order.currency}, the document in {document.currency}."
        faults.append(Fault("/DocumentCurrencyCode", "currency", text))
    known = {str(line.position): line for line in _lines(order)}
    lines: list[LineResponseData] = []
    for place, said in enumerate(document.lines):
        line, at = known.get(said.order_line), f"/OrderLine/{place}"
        if line is None:
            faults.append(Fault(f"{at}/OrderLineReference", "unknown", f"The order has no line {said.order_line}."))
        elif said.status not in _SAID:
            text = "A line added or delivered already is not taken here; send 3, 5 or 7."
            faults.append(Fault(f"{at}/LineStatusCode", "line.status", text))
        else:
            faults += _wrong_unit(said.unit, line, f"{at}/Quantity")
            lines.append(_line_response(said, line))
    if faults:
        raise InvalidDocument(faults)
    data = OrderResponseData(document.id, document.code.value, document.note, document.promised, tuple(lines))
    return serializers.read_response(_bounded(serializers.OrderReplyIn, data))


_SAID = {
    LineStatus.ACCEPTED: LineAction.ACCEPT,
    LineStatus.REFUSED: LineAction.REFUSE,
    LineStatus.CHANGED: LineAction.CHANGE,
}


def _line_response(said: ResponseLine, line: Line) -> LineResponseData:
    """One line's word as the document has it; what of a change is no change is seen when it is taken in."""
    if said.status != LineStatus.CHANGED:
        refused = said.status == LineStatus.REFUSED
        reason = said.note or ("refused" if refused else "")
        return LineResponseData(
            line.position, _SAID[said.status].value, reason, promised=None if refused else said.promised
        )
    return LineResponseData(line.position, LineAction.CHANGE.value, said.note, said.quantity, said.price, said.promised)


def read_docket(document: UblDespatchAdvice, order: SupplierOrder) -> DespatchData:
    """A UBL UblDespatchAdvice as a docket of this order."""
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
    return serializers.docket(_bounded(serializers.DocketIn, docket))


def _bounded(kind: type[StrictSerializer], value: OrderResponseData | DespatchData) -> dict[str, Any]:
    """The same as JSON would say it, held to the same bounds: a schema allows numbers and texts of any size."""
    return validated_data(kind, orjson.loads(write_json(asdict(value))))


_ONES = frozenset({"C62", "H87", "EA"})


def _wrong_unit(unit: str, line: Line, at: str) -> list[Fault]:
    said = sale_unit(unit) if unit else line.unit
    if said == line.unit or {said, line.unit} <= _ONES:
        return []
    return [Fault(at, "unit.other", f"Line {line.position} is ordered in {line.unit}, not {unit}.")]


def _wrong_order(named: str, order: SupplierOrder) -> list[Fault]:
    if named == order.number:
        return []
    return [Fault("/OrderReference", "order.other", f"This address is of order {order.number}, not {named}.")]
