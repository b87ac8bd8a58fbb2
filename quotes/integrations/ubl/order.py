"""UBL Order, written for a supplier's system, and read to prove that nothing is lost."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

from quotes.integrations.ubl.documents import OrderDocument, UblOrderLine, UblTaxSubtotal
from quotes.integrations.ubl.party import (
    ZERO,
    number_at,
    read_address,
    read_date,
    read_decimal,
    read_party,
    unit_at,
    write_address,
    write_party,
)
from quotes.integrations.ubl.xml_names import PREFIXES, Element, group, put, put_amount, root, serialize, words_at
from quotes.integrations.ubl.xml_parser import parse, refuse

CUSTOMIZATION = "urn:fdc:peppol.eu:poacc:trns:order:3"
PROFILE = "urn:fdc:peppol.eu:poacc:bis:ordering:3"
PURCHASE_ORDER = "105"


def write_order(order: OrderDocument) -> bytes:
    """Return the order as a UBL 2.1 document: UTF-8, valid against the OASIS schema, always the same bytes."""
    element = root("Order")
    put(element, "CustomizationID", CUSTOMIZATION)
    put(element, "ProfileID", PROFILE)
    put(element, "ID", order.id)
    put(element, "IssueDate", order.issued.isoformat())
    put(element, "OrderTypeCode", PURCHASE_ORDER)
    put(element, "Note", order.note)
    put(element, "DocumentCurrencyCode", order.currency)
    put(element, "CustomerReference", order.buyer_reference)
    write_party(element, "BuyerCustomerParty", order.buyer)
    write_party(element, "SellerSupplierParty", order.seller)
    _write_delivery(element, order)
    if order.charge:
        _write_charge(element, order)
    _write_taxes(element, order)
    total = group(element, "AnticipatedMonetaryTotal")
    put_amount(total, "LineExtensionAmount", order.lines_total, order.currency)
    put_amount(total, "TaxExclusiveAmount", order.lines_total + order.charge, order.currency)
    put_amount(total, "TaxInclusiveAmount", order.total, order.currency)
    if order.charge:
        put_amount(total, "ChargeTotalAmount", order.charge, order.currency)
    put_amount(total, "PayableAmount", order.payable, order.currency)
    for line in order.lines:
        _write_line(element, line, order.currency)
    return serialize(element)


def _write_delivery(element: Element, order: OrderDocument) -> None:
    delivery = group(element, "Delivery")
    if order.deliver_to.street or order.deliver_to.city or order.deliver_to.postcode or order.deliver_to.country:
        write_address(group(delivery, "DeliveryLocation"), "Address", order.deliver_to)
    if order.deliver_from or order.deliver_by:
        period = group(delivery, "RequestedDeliveryPeriod")
        put(period, "StartDate", order.deliver_from.isoformat() if order.deliver_from else None)
        put(period, "EndDate", order.deliver_by.isoformat() if order.deliver_by else None)
    if not len(delivery):
        element.remove(delivery)


def _write_charge(element: Element, order: OrderDocument) -> None:
    charge = group(element, "AllowanceCharge")
    put(charge, "ChargeIndicator", "true")
    put(charge, "AllowanceChargeReason", order.charge_reason or "Delivery")
    put_amount(charge, "Amount", order.charge, order.currency)
    _write_category(charge, "TaxCategory", order.charge_tax_category, order.charge_tax_percent)


def _write_category(parent: Element, name: str, category: str, percent: Decimal) -> None:
    element = group(parent, name)
    put(element, "ID", category)
    if category != "O":
        put(element, "Percent", f"{percent:f}")
    put(group(element, "TaxScheme"), "ID", "VAT")


def _write_taxes(element: Element, order: OrderDocument) -> None:
    tax = group(element, "TaxTotal")
    put_amount(tax, "TaxAmount", order.tax, order.currency)
    for row in order.taxes:
        part = group(tax, "TaxSubtotal")
        put_amount(part, "TaxableAmount", row.taxable, order.currency)
        put_amount(part, "TaxAmount", row.tax, order.currency)
        _write_category(part, "TaxCategory", row.category, row.percent)


def _write_line(parent: Element, line: UblOrderLine, currency: str) -> None:
    element = group(parent, "OrderLine")
    put(element, "Note", line.note)
    item_line = group(element, "LineItem")
    put(item_line, "ID", line.id)
    put(item_line, "Quantity", f"{line.quantity:f}", unitCode=line.unit)
    put_amount(item_line, "LineExtensionAmount", line.net, currency)
    price = group(item_line, "Price")
    put_amount(price, "PriceAmount", line.price, currency)
    put(price, "BaseQuantity", f"{line.base_quantity:f}", unitCode=line.unit)
    item = group(item_line, "Item")
    put(item, "Name", line.name)
    for name, value, scheme in (
        ("BuyersItemIdentification", line.buyer_sku, ""),
        ("SellersItemIdentification", line.seller_sku, ""),
        ("StandardItemIdentification", line.gtin, "0160"),
    ):
        if value:
            put(group(item, name), "ID", value, schemeID=scheme)
    _write_category(item, "ClassifiedTaxCategory", line.tax_category, line.tax_percent)


def read_order(body: bytes) -> OrderDocument:
    """Read the order from a UBL document.

    Raises:
        InvalidDocument: see ``xml_parser.parse``, or a document that this service did not write.
    """
    element = parse(body, "Order")
    issued, payable = read_date(element, "cbc:IssueDate"), _amount(element, "cbc:PayableAmount")
    if issued is None or payable is None:
        raise refuse("ubl.order", "enter an issue date and a payable amount")
    charge = "cac:AllowanceCharge"
    return OrderDocument(
        id=words_at(element, "cbc:ID"),
        issued=issued,
        currency=words_at(element, "cbc:DocumentCurrencyCode"),
        buyer=read_party(element, "BuyerCustomerParty"),
        seller=read_party(element, "SellerSupplierParty"),
        lines=tuple(_read_line(line) for line in element.findall("cac:OrderLine", PREFIXES)),
        lines_total=_amount(element, "cbc:LineExtensionAmount") or ZERO,
        taxes=tuple(_read_tax(row) for row in element.findall("cac:TaxTotal/cac:TaxSubtotal", PREFIXES)),
        tax=number_at(element, "cac:TaxTotal/cbc:TaxAmount"),
        total=_amount(element, "cbc:TaxInclusiveAmount") or payable,
        payable=payable,
        charge=number_at(element, f"{charge}/cbc:Amount"),
        charge_reason=words_at(element, f"{charge}/cbc:AllowanceChargeReason"),
        charge_tax_category=words_at(element, f"{charge}/cac:TaxCategory/cbc:ID", "S"),
        charge_tax_percent=number_at(element, f"{charge}/cac:TaxCategory/cbc:Percent"),
        deliver_to=read_address(element, "cac:Delivery/cac:DeliveryLocation/cac:Address"),
        deliver_from=_requested(element, "StartDate"),
        deliver_by=_requested(element, "EndDate"),
        note=words_at(element, "cbc:Note"),
        buyer_reference=words_at(element, "cbc:CustomerReference"),
    )


def _amount(element: Element, name: str) -> Decimal | None:
    return read_decimal(element, f"cac:AnticipatedMonetaryTotal/{name}")


def _requested(element: Element, name: str) -> date | None:
    return read_date(element, f"cac:Delivery/cac:RequestedDeliveryPeriod/cbc:{name}")


def _read_tax(row: Element) -> UblTaxSubtotal:
    return UblTaxSubtotal(
        words_at(row, "cac:TaxCategory/cbc:ID"),
        number_at(row, "cac:TaxCategory/cbc:Percent"),
        number_at(row, "cbc:TaxableAmount"),
        number_at(row, "cbc:TaxAmount"),
    )


def _read_line(element: Element) -> UblOrderLine:
    item = "cac:LineItem/cac:Item"
    return UblOrderLine(
        id=words_at(element, "cac:LineItem/cbc:ID"),
        name=words_at(element, f"{item}/cbc:Name"),
        quantity=number_at(element, "cac:LineItem/cbc:Quantity"),
        unit=unit_at(element, "cac:LineItem/cbc:Quantity"),
        price=number_at(element, "cac:LineItem/cac:Price/cbc:PriceAmount"),
        net=number_at(element, "cac:LineItem/cbc:LineExtensionAmount"),
        base_quantity=number_at(element, "cac:LineItem/cac:Price/cbc:BaseQuantity", Decimal(1)),
        seller_sku=words_at(element, f"{item}/cac:SellersItemIdentification/cbc:ID"),
        buyer_sku=words_at(element, f"{item}/cac:BuyersItemIdentification/cbc:ID"),
        gtin=words_at(element, f"{item}/cac:StandardItemIdentification/cbc:ID"),
        note=words_at(element, "cbc:Note"),
        tax_category=words_at(element, f"{item}/cac:ClassifiedTaxCategory/cbc:ID", "S"),
        tax_percent=number_at(element, f"{item}/cac:ClassifiedTaxCategory/cbc:Percent"),
    )
