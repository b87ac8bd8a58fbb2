"""Despatch of a supplier, in JSON and as UBL DespatchAdvice: despatched and outstanding quantities."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from django.db.models import Sum
from rest_framework import serializers

from catalogue.rules.codes import sale_unit
from fencing.model.faults import Fault, InvalidDocument
from quotes.integrations.messages.message import Message, bounded, lines_of, parties_of, wrong_order, wrong_unit
from quotes.integrations.ubl.documents import UblParty
from quotes.integrations.ubl.party import (
    ZERO,
    number_at,
    read_date,
    read_decimal,
    read_party,
    unit_at,
    unknown_unit,
    write_party,
)
from quotes.integrations.ubl.xml import PREFIXES, Element, group, parse, put, root, serialize, text_at, words_at
from quotes.purchasing.api_fields import number
from quotes.purchasing.deliveries import DespatchData, DespatchLineData, despatch
from quotes.purchasing.models import Despatch, DespatchLine, SupplierOrder
from quotes.purchasing.order_totals import due
from quotes.purchasing.serializers import MAX_LINES, quantity_field
from shared.api.serializers import StrictSerializer, TextField
from shared.business.actors import Actor
from shared.common.dates import local_day

CUSTOMIZATION = "urn:fdc:peppol.eu:poacc:trns:despatch_advice:3"
PROFILE = "urn:fdc:peppol.eu:poacc:bis:despatch_advice:3"


@dataclass(frozen=True, slots=True)
class UblDespatchLine:
    """``outstanding`` is the quantity still to come, with its reason."""

    id: str
    order_line: str
    name: str
    quantity: Decimal
    unit: str
    seller_sku: str = ""
    gtin: str = ""
    outstanding: Decimal | None = None
    outstanding_reason: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class UblDespatchAdvice:
    id: str
    issued: date
    order: str
    buyer: UblParty
    seller: UblParty
    lines: tuple[UblDespatchLine, ...]
    note: str = ""
    despatched: date | None = None
    arrives: date | None = None


class DespatchLineIn(StrictSerializer):
    line = serializers.IntegerField(min_value=1)
    quantity = quantity_field()
    outstanding_reason = TextField(max_length=500, required=False, allow_blank=True)


class DespatchIn(StrictSerializer):
    """``number`` is the one on your docket; the same number again is the same despatch."""

    number = TextField(max_length=60)
    despatched_on = serializers.DateField(required=False, allow_null=True)
    arrives_on = serializers.DateField(required=False, allow_null=True)
    note = TextField(max_length=2_000, required=False, allow_blank=True)
    lines: serializers.ListSerializer[Any] = serializers.ListSerializer(
        child=DespatchLineIn(), min_length=1, max_length=MAX_LINES
    )


def read_json(body: dict[str, Any]) -> DespatchData:
    """Return a despatch from its request body."""
    lines = tuple(DespatchLineData(**line) for line in body["lines"])
    return DespatchData(body["number"], lines, body.get("despatched_on"), body.get("arrives_on"), body.get("note", ""))


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
        InvalidDocument: see ``xml.parse``, or all broken rules at once.
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
    for place, line in enumerate(element.findall("cac:DespatchLine", PREFIXES)):
        yield from _line_faults(line, f"/DespatchLine/{place}")


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


def read_xml(body: bytes, order: SupplierOrder) -> DespatchData:
    """Read a UBL despatch advice of this order."""
    document = read_despatch(body)
    faults = wrong_order(document.order, order)
    known = lines_of(order)
    loaded: list[DespatchLineData] = []
    for place, item in enumerate(document.lines):
        line = known.get(item.order_line)
        if line is None:
            text = f"The order has no line {item.order_line}."
            faults.append(Fault(f"/DespatchLine/{place}/OrderLineReference", "unknown", text))
        elif item.quantity:
            faults += wrong_unit(item.unit, line, f"/DespatchLine/{place}/DeliveredQuantity")
            loaded.append(DespatchLineData(line.position, item.quantity, item.outstanding_reason))
    if faults:
        raise InvalidDocument(faults)
    docket = DespatchData(document.id, tuple(loaded), document.despatched, document.arrives, document.note)
    return read_json(bounded(DespatchIn, docket))


def despatch_ubl(order: SupplierOrder, row: Despatch) -> bytes:
    """Return the UBL despatch advice, with outstanding quantities and their reasons."""
    buyer, seller = parties_of(order)
    lines = (
        DespatchLine.objects.of(order.business).filter(despatch=row).select_related("line").order_by("line__position")
    )
    return write_despatch(
        UblDespatchAdvice(
            id=row.number,
            issued=local_day(order.business, row.created_at),
            order=order.number,
            buyer=buyer,
            seller=seller,
            lines=tuple(_loaded(place, line) for place, line in enumerate(lines, 1)),
            note=" ".join(row.note.split()),
            despatched=row.despatched_on,
            arrives=row.arrives_on,
        )
    )


def _loaded(place: int, row: DespatchLine) -> UblDespatchLine:
    until = DespatchLine.objects.of(row.business).filter(line=row.line, despatch_id__lte=row.despatch_id)
    rest = due(row.line) - (until.aggregate(sent=Sum("quantity"))["sent"] or ZERO)
    data = bool(row.outstanding_reason) and rest > 0
    return UblDespatchLine(
        id=str(place),
        order_line=str(row.line.position),
        name=row.line.label,
        quantity=Decimal(number(row.quantity)),
        unit=row.line.unit,
        seller_sku=row.line.supplier_sku or row.line.sku,
        gtin=row.line.gtin,
        outstanding=Decimal(number(rest)) if data else None,
        outstanding_reason=" ".join(row.outstanding_reason.split()) if data else "",
    )


def _store(order: SupplierOrder, docket: DespatchData, actor: Actor) -> tuple[SupplierOrder, bool]:
    order, _, is_new = despatch(order=order, docket=docket, actor=actor)
    return order, is_new


DESPATCH = Message(
    name="despatch",
    path="despatches",
    noun="a despatch",
    document="DespatchAdvice",
    summary="Create a despatch",
    events=("order.despatched",),
    rows=lambda order: Despatch.objects.of(order.business).filter(order=order),
    body=DespatchIn,
    read_json=read_json,
    read_xml=read_xml,
    store=_store,
    write_xml=despatch_ubl,
)
