"""Values of our UBL documents. Amounts and quantities are Decimal; dates are civil dates."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal


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
