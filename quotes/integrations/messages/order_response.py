"""Order response of a supplier, in JSON and UBL: to a whole order or line by line."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from enum import StrEnum
from typing import Any

from rest_framework import serializers

from catalogue.rules.codes import sale_unit
from fencing.model.faults import Fault, InvalidDocument
from quotes.integrations.messages.message import Message, bounded, lines_of, parties_of, wrong_order, wrong_unit
from quotes.integrations.ubl.documents import UblParty
from quotes.integrations.ubl.party import read_date, read_decimal, read_party, unit_at, unknown_unit, write_party
from quotes.integrations.ubl.xml import (
    PREFIXES,
    Element,
    group,
    parse,
    put,
    put_amount,
    root,
    serialize,
    text_at,
    words_at,
)
from quotes.purchasing.api_fields import amount, number
from quotes.purchasing.models import LineAction, OrderLine, OrderResponse, OrderResponseLine, SupplierOrder
from quotes.purchasing.order_responses import LineResponseData, OrderResponseData, record_response
from quotes.purchasing.serializers import MAX_LINES, price_field, quantity_field
from shared.api.serializers import StrictSerializer, TextField
from shared.business.actors import Actor
from shared.common.dates import local_day

CUSTOMIZATION = "urn:fdc:peppol.eu:poacc:trns:order_response:3"
PROFILE = "urn:fdc:peppol.eu:poacc:bis:ordering:3"
_PRICE = "cac:LineItem/cac:Price/cbc:PriceAmount"


class ResponseCode(StrEnum):
    """OrderResponseCode: response of a seller to a whole order."""

    ACKNOWLEDGED = "AB"
    ACCEPTED = "AP"
    REFUSED = "RE"
    CONDITIONAL = "CA"


class LineStatus(StrEnum):
    """LineStatusCode (UNCL1229): response of a seller to one line."""

    ADDED = "1"
    CHANGED = "3"
    ACCEPTED = "5"
    REFUSED = "7"
    DELIVERED = "42"


@dataclass(frozen=True, slots=True)
class ResponseLine:
    """Response of a seller to one line. Quantity, price and date are the seller's values, or None if they do not change."""

    id: str
    order_line: str
    status: LineStatus
    name: str
    quantity: Decimal | None = None
    unit: str = ""
    price: Decimal | None = None
    promised_on: date | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class UblOrderResponse:
    id: str
    issued: date
    order: str
    code: ResponseCode
    currency: str
    buyer: UblParty
    seller: UblParty
    lines: tuple[ResponseLine, ...] = ()
    note: str = ""
    promised_on: date | None = None


class LineResponseIn(StrictSerializer):
    line = serializers.IntegerField(min_value=1)
    action = serializers.ChoiceField(LineAction.choices)
    reason = TextField(max_length=500, required=False, allow_blank=True)
    quantity = quantity_field("0", required=False, allow_null=True)
    price = price_field(required=False, allow_null=True)
    promised_on = serializers.DateField(required=False, allow_null=True)


class OrderResponseIn(StrictSerializer):
    """``number`` is your own. ``code``: AB receipt confirmed, AP order accepted, RE order rejected, CA line by line."""

    number = TextField(max_length=60)
    code = serializers.ChoiceField(["AB", "AP", "RE", "CA"])
    note = TextField(max_length=2_000, required=False, allow_blank=True)
    promised_on = serializers.DateField(required=False, allow_null=True)
    lines: serializers.ListSerializer[Any] = serializers.ListSerializer(
        child=LineResponseIn(), required=False, max_length=MAX_LINES
    )


def read_json(body: dict[str, Any]) -> OrderResponseData:
    """Return a response from its request body."""
    lines = tuple(LineResponseData(**line) for line in body.get("lines", []))
    return OrderResponseData(body["number"], body["code"], body.get("note", ""), body.get("promised_on"), lines)


def write_response(response: UblOrderResponse) -> bytes:
    """Return the response as a UBL 2.1 document."""
    element = root("OrderResponse")
    put(element, "CustomizationID", CUSTOMIZATION)
    put(element, "ProfileID", PROFILE)
    put(element, "ID", response.id)
    put(element, "IssueDate", response.issued.isoformat())
    put(element, "OrderResponseCode", response.code.value)
    put(element, "Note", response.note)
    put(element, "DocumentCurrencyCode", response.currency)
    put(group(element, "OrderReference"), "ID", response.order)
    write_party(element, "SellerSupplierParty", response.seller)
    write_party(element, "BuyerCustomerParty", response.buyer)
    if response.promised_on:
        period = group(group(element, "Delivery"), "PromisedDeliveryPeriod")
        put(period, "EndDate", response.promised_on.isoformat())
    for line in response.lines:
        _write_line(element, line, response.currency)
    return serialize(element)


def _write_line(parent: Element, line: ResponseLine, currency: str) -> None:
    order_line = group(parent, "OrderLine")
    element = group(order_line, "LineItem")
    put(element, "ID", line.id)
    put(element, "Note", line.note)
    put(element, "LineStatusCode", line.status.value)
    if line.quantity is not None:
        put(element, "Quantity", f"{line.quantity:f}", unitCode=line.unit)
    if line.promised_on:
        period = group(group(element, "Delivery"), "PromisedDeliveryPeriod")
        put(period, "EndDate", line.promised_on.isoformat())
    if line.price is not None:
        put_amount(group(element, "Price"), "PriceAmount", line.price, currency)
    put(group(element, "Item"), "Name", line.name)
    put(group(order_line, "OrderLineReference"), "LineID", line.order_line)


def read_response(body: bytes) -> UblOrderResponse:
    """Read the response from a UBL document.

    Rules: a conditional response (CA) carries lines, any other carries none (R007 to R010 of the order response transaction);
    codes are from their lists; every line names an order line.

    Raises:
        InvalidDocument: see ``xml.parse``, or all broken rules at once.
    """
    element = parse(body, "OrderResponse")
    faults = list(_faults(element))
    issued = read_date(element, "cbc:IssueDate")
    if faults or issued is None:
        raise InvalidDocument(faults or [Fault("/IssueDate", "ubl.date", "enter an issue date")])
    return UblOrderResponse(
        id=words_at(element, "cbc:ID"),
        issued=issued,
        order=words_at(element, "cac:OrderReference/cbc:ID"),
        code=ResponseCode(words_at(element, "cbc:OrderResponseCode")),
        currency=_currency(element),
        buyer=read_party(element, "BuyerCustomerParty"),
        seller=read_party(element, "SellerSupplierParty"),
        lines=tuple(_read_line(line) for line in element.findall("cac:OrderLine", PREFIXES)),
        note=words_at(element, "cbc:Note"),
        promised_on=read_date(element, "cac:Delivery/cac:PromisedDeliveryPeriod/cbc:EndDate"),
    )


def _faults(element: Element) -> Iterable[Fault]:
    code = text_at(element, "cbc:OrderResponseCode")
    lines = element.findall("cac:OrderLine", PREFIXES)
    if code not in set(ResponseCode):
        yield Fault("/OrderResponseCode", "T76-CL", f"{code!r} is not one of AB, AP, RE, CA")
    elif code == ResponseCode.CONDITIONAL and not lines:
        yield Fault("/OrderLine", "PEPPOL-T76-R007", "a conditional response (CA) lists the lines that change")
    elif code != ResponseCode.CONDITIONAL and lines:
        yield Fault(
            "/OrderLine", "PEPPOL-T76-R008", f"a response {code} carries no lines: send CA for a change of lines"
        )
    currency = _currency(element)
    for place, line in enumerate(lines):
        yield from _line_faults(line, f"/OrderLine/{place}", currency)


def _line_faults(line: Element, at: str, currency: str) -> Iterable[Fault]:
    status = text_at(line, "cac:LineItem/cbc:LineStatusCode")
    if status not in set(LineStatus):
        yield Fault(f"{at}/LineStatusCode", "T76-CL", f"{status!r} is not one of 1, 3, 5, 7, 42")
    unit = unit_at(line, "cac:LineItem/cbc:Quantity")
    if unit and sale_unit(unit) is None:
        yield Fault(f"{at}/Quantity", "REC20", unknown_unit(unit))
    priced = line.find(_PRICE, PREFIXES)
    if priced is not None and priced.get("currencyID") != currency:
        text = f"a price in {priced.get('currencyID', '')[:8]!r}, the document is in {currency[:8]!r}"
        yield Fault(f"{at}/Price", "currency", text)
    if _reference(line) is None:
        yield Fault(f"{at}/OrderLineReference", "T76-R020", "name the order's line by OrderLineReference/LineID")


def _currency(element: Element) -> str:
    """Return the currency of the document, or of its first price."""
    priced = element.find(f"cac:OrderLine/{_PRICE}", PREFIXES)
    stated = text_at(element, "cbc:DocumentCurrencyCode")
    return stated or ("" if priced is None else priced.get("currencyID") or "")


def _reference(line: Element) -> str | None:
    return text_at(line, "cac:OrderLineReference/cbc:LineID")


def _read_line(line: Element) -> ResponseLine:
    return ResponseLine(
        id=words_at(line, "cac:LineItem/cbc:ID"),
        order_line=_reference(line) or "",
        status=LineStatus(words_at(line, "cac:LineItem/cbc:LineStatusCode")),
        name=words_at(line, "cac:LineItem/cac:Item/cbc:Name"),
        quantity=read_decimal(line, "cac:LineItem/cbc:Quantity"),
        unit=unit_at(line, "cac:LineItem/cbc:Quantity"),
        price=read_decimal(line, _PRICE),
        promised_on=read_date(line, "cac:LineItem/cac:Delivery/cac:PromisedDeliveryPeriod/cbc:EndDate"),
        note=words_at(line, "cac:LineItem/cbc:Note"),
    )


def read_xml(body: bytes, order: SupplierOrder) -> OrderResponseData:
    """Read a UBL order response of this order. Raise InvalidDocument if it is for another order or in another currency."""
    document = read_response(body)
    faults = wrong_order(document.order, order)
    if document.currency and document.currency != order.currency:
        text = f"This order is in {order.currency}, the document in {document.currency}."
        faults.append(Fault("/DocumentCurrencyCode", "currency", text))
    known = lines_of(order)
    lines: list[LineResponseData] = []
    for place, item in enumerate(document.lines):
        line, at = known.get(item.order_line), f"/OrderLine/{place}"
        if line is None:
            faults.append(Fault(f"{at}/OrderLineReference", "unknown", f"The order has no line {item.order_line}."))
        elif item.status not in _ACTIONS:
            text = "Added and delivered lines are not supported. Send 3, 5 or 7."
            faults.append(Fault(f"{at}/LineStatusCode", "line.status", text))
        else:
            faults += wrong_unit(item.unit, line, f"{at}/Quantity")
            lines.append(_line_response(item, line))
    if faults:
        raise InvalidDocument(faults)
    data = OrderResponseData(document.id, document.code.value, document.note, document.promised_on, tuple(lines))
    return read_json(bounded(OrderResponseIn, data))


_ACTIONS = {
    LineStatus.ACCEPTED: LineAction.ACCEPT,
    LineStatus.REFUSED: LineAction.REJECT,
    LineStatus.CHANGED: LineAction.CHANGE,
}


def _line_response(item: ResponseLine, line: OrderLine) -> LineResponseData:
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


def response_ubl(order: SupplierOrder, reply: OrderResponse) -> bytes:
    """Return the UBL order response. Only a conditional one (CA) has lines."""
    buyer, seller = parties_of(order)
    rows = (
        OrderResponseLine.objects.of(order.business)
        .filter(reply=reply)
        .select_related("line")
        .order_by("line__position")
    )
    conditional = reply.code == ResponseCode.CONDITIONAL
    return write_response(
        UblOrderResponse(
            id=reply.number,
            issued=local_day(order.business, reply.created_at),
            order=order.number,
            code=ResponseCode(reply.code),
            currency=order.currency,
            buyer=buyer,
            seller=seller,
            lines=tuple(_replied(place, row, order.currency) for place, row in enumerate(rows, 1))
            if conditional
            else (),
            note=" ".join(reply.note.split()),
            promised_on=reply.promised_on,
        )
    )


def _replied(place: int, row: OrderResponseLine, currency: str) -> ResponseLine:
    return ResponseLine(
        id=str(place),
        order_line=str(row.line.position),
        status=next(status for status, action in _ACTIONS.items() if action == row.action),
        name=row.line.label,
        quantity=None if row.quantity is None else Decimal(number(row.quantity)),
        unit=row.line.unit,
        price=None if row.price is None else Decimal(amount(row.price, currency)),
        promised_on=row.promised_on,
        note=" ".join(row.reason.split()),
    )


def _store(order: SupplierOrder, response: OrderResponseData, actor: Actor) -> tuple[SupplierOrder, bool]:
    return record_response(order=order, response=response, actor=actor)


ORDER_RESPONSE = Message(
    name="response",
    path="responses",
    noun="an order response",
    document="OrderResponse",
    summary="Respond to an order",
    events=("order.receipt_confirmed", "order.acknowledged", "order.rejected"),
    rows=lambda order: OrderResponse.objects.of(order.business).filter(order=order),
    body=OrderResponseIn,
    read_json=read_json,
    read_xml=read_xml,
    store=_store,
    write_xml=response_ubl,
)
