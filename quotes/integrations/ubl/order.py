"""UBL Order, written for a supplier's system."""

from __future__ import annotations

from decimal import Decimal

from quotes.integrations.ubl.documents import OrderDocument, UblOrderLine
from quotes.integrations.ubl.party import (
    write_address,
    write_party,
)
from quotes.integrations.ubl.xml import Element, group, put, put_amount, root, serialize

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
