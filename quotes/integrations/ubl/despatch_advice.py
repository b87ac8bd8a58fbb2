"""UBL DespatchAdvice, read and written: despatched and outstanding quantities."""

from __future__ import annotations

from collections.abc import Iterable

from catalogue.rules.codes import sale_unit
from fencing.model.faults import Fault, InvalidDocument
from quotes.integrations.ubl.documents import UblDespatchAdvice, UblDespatchLine
from quotes.integrations.ubl.party import (
    number_at,
    read_date,
    read_decimal,
    read_party,
    unit_at,
    unknown_unit,
    write_party,
)
from quotes.integrations.ubl.xml_names import PREFIXES, Element, group, put, root, serialize, text_at, words_at
from quotes.integrations.ubl.xml_parser import parse

CUSTOMIZATION = "urn:fdc:peppol.eu:poacc:trns:despatch_advice:3"
PROFILE = "urn:fdc:peppol.eu:poacc:bis:despatch_advice:3"


def write_despatch(advice: UblDespatchAdvice) -> bytes:
    """Return the advice as a UBL 2.1 document."""
    element = root("DespatchAdvice")
    put(element, "CustomizationID", CUSTOMIZATION)
    put(element, "ProfileID", PROFILE)
    put(element, "ID", advice.id)
    put(element, "IssueDate", advice.issued.isoformat())
    put(element, "Note", advice.note)
    put(group(element, "OrderReference"), "ID", advice.order)
    write_party(element, "DespatchSupplierParty", advice.seller)
    write_party(element, "DeliveryCustomerParty", advice.buyer)
    if advice.despatched or advice.arrives:
        _write_shipment(element, advice)
    for line in advice.lines:
        _write_line(element, line)
    return serialize(element)


def _write_shipment(element: Element, advice: UblDespatchAdvice) -> None:
    shipment = group(element, "Shipment")
    put(shipment, "ID", "1")
    delivery = group(shipment, "Delivery")
    if advice.arrives:
        put(group(delivery, "EstimatedDeliveryPeriod"), "EndDate", advice.arrives.isoformat())
    if advice.despatched:
        put(group(delivery, "Despatch"), "ActualDespatchDate", advice.despatched.isoformat())


def _write_line(parent: Element, line: UblDespatchLine) -> None:
    element = group(parent, "DespatchLine")
    put(element, "ID", line.id)
    put(element, "Note", line.note)
    put(element, "DeliveredQuantity", f"{line.quantity:f}", unitCode=line.unit)
    if line.outstanding is not None:
        put(element, "OutstandingQuantity", f"{line.outstanding:f}", unitCode=line.unit)
        put(element, "OutstandingReason", line.outstanding_reason)
    put(group(element, "OrderLineReference"), "LineID", line.order_line)
    item = group(element, "Item")
    put(item, "Name", line.name)
    for name, value, scheme in (
        ("SellersItemIdentification", line.seller_sku, ""),
        ("StandardItemIdentification", line.gtin, "0160"),
    ):
        if value:
            put(group(item, name), "ID", value, schemeID=scheme)


def read_despatch(body: bytes) -> UblDespatchAdvice:
    """Read the advice from a UBL document.

    Rules of the despatch advice transaction: an order is named, quantities are not negative, units are from the list, and
    outstanding quantities have a reason.

    Raises:
        InvalidDocument: see ``xml_parser.parse``, or all broken rules at once.
    """
    element = parse(body, "DespatchAdvice")
    faults = list(_faults(element))
    issued = read_date(element, "cbc:IssueDate")
    if faults or issued is None:
        raise InvalidDocument(faults or [Fault("/IssueDate", "ubl.date", "enter an issue date")])
    delivery = "cac:Shipment/cac:Delivery"
    return UblDespatchAdvice(
        id=words_at(element, "cbc:ID"),
        issued=issued,
        order=words_at(element, "cac:OrderReference/cbc:ID"),
        buyer=read_party(element, "DeliveryCustomerParty"),
        seller=read_party(element, "DespatchSupplierParty"),
        lines=tuple(_read_line(line) for line in element.findall("cac:DespatchLine", PREFIXES)),
        note=words_at(element, "cbc:Note"),
        despatched=read_date(element, f"{delivery}/cac:Despatch/cbc:ActualDespatchDate"),
        arrives=read_date(element, f"{delivery}/cac:EstimatedDeliveryPeriod/cbc:EndDate"),
    )


def _faults(element: Element) -> Iterable[Fault]:
    if not text_at(element, "cac:OrderReference/cbc:ID"):
        yield Fault("/OrderReference", "T16-ORDER", "name the order by OrderReference/ID")
    for number, line in enumerate(element.findall("cac:DespatchLine", PREFIXES)):
        yield from _line_faults(line, f"/DespatchLine/{number}")


def _line_faults(line: Element, at: str) -> Iterable[Fault]:
    quantity, outstanding = (read_decimal(line, f"cbc:{name}Quantity") for name in ("Delivered", "Outstanding"))
    if quantity is None or quantity < 0 or (outstanding is not None and outstanding < 0):
        yield Fault(f"{at}/DeliveredQuantity", "T16-R002", "enter a quantity of 0 or more")
    unit = unit_at(line, "cbc:DeliveredQuantity")
    if sale_unit(unit) is None:
        yield Fault(f"{at}/DeliveredQuantity", "REC20", unknown_unit(unit))
    if outstanding and not text_at(line, "cbc:OutstandingReason"):
        yield Fault(f"{at}/OutstandingReason", "T16-R003", "give the reason for the outstanding quantity")


def _read_line(line: Element) -> UblDespatchLine:
    return UblDespatchLine(
        id=words_at(line, "cbc:ID"),
        order_line=words_at(line, "cac:OrderLineReference/cbc:LineID"),
        name=words_at(line, "cac:Item/cbc:Name"),
        quantity=number_at(line, "cbc:DeliveredQuantity"),
        unit=unit_at(line, "cbc:DeliveredQuantity"),
        seller_sku=words_at(line, "cac:Item/cac:SellersItemIdentification/cbc:ID"),
        gtin=words_at(line, "cac:Item/cac:StandardItemIdentification/cbc:ID"),
        outstanding=read_decimal(line, "cbc:OutstandingQuantity"),
        outstanding_reason=words_at(line, "cbc:OutstandingReason"),
        note=words_at(line, "cbc:Note"),
    )
