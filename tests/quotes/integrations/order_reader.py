"""Reader of a UBL Order, which proves that nothing is lost in it."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

from quotes.integrations.ubl.documents import OrderDocument, UblOrderLine, UblTaxSubtotal
from quotes.integrations.ubl.party import ZERO, number_at, read_address, read_date, read_decimal, read_party, unit_at
from quotes.integrations.ubl.xml import PREFIXES, Element, parse, refuse, words_at


def read_order(body: bytes) -> OrderDocument:
    """Read the order from a UBL document.

    Raises:
        InvalidDocument: see ``xml.parse``, or a document that this service did not write.
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
