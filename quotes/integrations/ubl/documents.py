"""Values of our UBL documents. Amounts and quantities are Decimal; dates are civil dates."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from enum import StrEnum


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
class UblAddress:
    street: str = ""
    city: str = ""
    postcode: str = ""
    country: str = ""


@dataclass(frozen=True, slots=True)
class UblParty:
    """A buyer or seller. ``endpoint`` is an electronic address under ISO 6523 scheme ``endpoint_scheme`` ("0088" is GLN)."""

    name: str
    address: UblAddress = UblAddress()
    endpoint: str = ""
    endpoint_scheme: str = ""
    company_id: str = ""
    tax_id: str = ""


@dataclass(frozen=True, slots=True)
class UblTaxSubtotal:
    """Tax of one category (UNCL5305) and rate."""

    category: str
    percent: Decimal
    taxable: Decimal
    tax: Decimal


@dataclass(frozen=True, slots=True)
class UblOrderLine:
    """``price`` is for ``base_quantity`` of ``unit`` (UN/ECE Rec 20); ``net`` = round(price / base_quantity * quantity)."""

    id: str
    name: str
    quantity: Decimal
    unit: str
    price: Decimal
    net: Decimal
    base_quantity: Decimal = Decimal(1)
    seller_sku: str = ""
    buyer_sku: str = ""
    gtin: str = ""
    note: str = ""
    tax_category: str = "S"
    tax_percent: Decimal = Decimal(0)


@dataclass(frozen=True, slots=True)
class OrderDocument:
    """An order. ``charge`` is a delivery charge (never negative) with its reason; totals as section 2.2 of EN 16931 sums."""

    id: str
    issued: date
    currency: str
    buyer: UblParty
    seller: UblParty
    lines: tuple[UblOrderLine, ...]
    lines_total: Decimal
    taxes: tuple[UblTaxSubtotal, ...]
    tax: Decimal
    total: Decimal
    payable: Decimal
    charge: Decimal = Decimal(0)
    charge_reason: str = ""
    charge_tax_category: str = "S"
    charge_tax_percent: Decimal = Decimal(0)
    deliver_to: UblAddress = UblAddress()
    deliver_from: date | None = None
    deliver_by: date | None = None
    note: str = ""
    buyer_reference: str = ""


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
