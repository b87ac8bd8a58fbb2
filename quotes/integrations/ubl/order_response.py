"""UBL OrderResponse, read and written: response of a seller to a whole order or line by line."""

from __future__ import annotations

from collections.abc import Iterable

from catalogue.rules.codes import sale_unit
from fencing.model.faults import Fault, InvalidDocument
from quotes.integrations.ubl.documents import LineStatus, ResponseCode, ResponseLine, UblOrderResponse
from quotes.integrations.ubl.party import read_date, read_decimal, read_party, unit_at, unknown_unit, write_party
from quotes.integrations.ubl.xml_names import (
    PREFIXES,
    Element,
    group,
    put,
    put_amount,
    root,
    serialize,
    text_at,
    words_at,
)
from quotes.integrations.ubl.xml_parser import parse

CUSTOMIZATION = "urn:fdc:peppol.eu:poacc:trns:order_response:3"
PROFILE = "urn:fdc:peppol.eu:poacc:bis:ordering:3"
_PRICE = "cac:LineItem/cac:Price/cbc:PriceAmount"


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
        InvalidDocument: see ``xml_parser.parse``, or all broken rules at once.
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
    for number, line in enumerate(lines):
        yield from _line_faults(line, f"/OrderLine/{number}", currency)


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
