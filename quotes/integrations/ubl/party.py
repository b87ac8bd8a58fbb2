"""Parties and addresses in UBL, written and read the same way in every document."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

from fencing.model.faults import Fault, InvalidDocument
from quotes.integrations.ubl.documents import UblAddress, UblParty
from quotes.integrations.ubl.xml import PREFIXES, Element, group, put, text_at, words_at

ZERO = Decimal(0)


def write_party(parent: Element, wrapper: str, party: UblParty) -> None:
    """Write ``cac:wrapper/cac:Party`` in schema order."""
    element = group(group(parent, wrapper), "Party")
    put(element, "EndpointID", party.endpoint, schemeID=party.endpoint_scheme)
    if party.company_id:
        put(group(element, "PartyIdentification"), "ID", party.company_id)
    put(group(element, "PartyName"), "Name", party.name)
    write_address(element, "PostalAddress", party.address)
    if party.tax_id:
        scheme = group(element, "PartyTaxScheme")
        put(scheme, "CompanyID", party.tax_id)
        put(group(scheme, "TaxScheme"), "ID", "VAT")
    put(group(element, "PartyLegalEntity"), "RegistrationName", party.name)


def read_party(root: Element, wrapper: str) -> UblParty:
    """Read the party under ``cac:wrapper``."""
    at = f"cac:{wrapper}/cac:Party"
    endpoint = root.find(f"{at}/cbc:EndpointID", PREFIXES)
    name = text_at(root, f"{at}/cac:PartyName/cbc:Name")
    return UblParty(
        name=name or words_at(root, f"{at}/cac:PartyLegalEntity/cbc:RegistrationName"),
        address=read_address(root, f"{at}/cac:PostalAddress"),
        endpoint=words_at(root, f"{at}/cbc:EndpointID"),
        endpoint_scheme=(endpoint.get("schemeID") or "") if endpoint is not None else "",
        company_id=words_at(root, f"{at}/cac:PartyIdentification/cbc:ID"),
        tax_id=words_at(root, f"{at}/cac:PartyTaxScheme/cbc:CompanyID"),
    )


def write_address(parent: Element, name: str, address: UblAddress) -> None:
    """Write an address. Leave it out if it is empty."""
    if address == UblAddress():
        return
    element = group(parent, name)
    put(element, "StreetName", address.street)
    put(element, "CityName", address.city)
    put(element, "PostalZone", address.postcode)
    if address.country:
        put(group(element, "Country"), "IdentificationCode", address.country)


def read_address(root: Element, at: str) -> UblAddress:
    """Read the address at a path. It is empty if there is none."""
    return UblAddress(
        street=words_at(root, f"{at}/cbc:StreetName"),
        city=words_at(root, f"{at}/cbc:CityName"),
        postcode=words_at(root, f"{at}/cbc:PostalZone"),
        country=words_at(root, f"{at}/cac:Country/cbc:IdentificationCode"),
    )


def read_date(root: Element, at: str) -> date | None:
    """Read a civil date without the time zone that the schema allows.

    Raises:
        InvalidDocument: a year before 1 or after 9999, which the schema allows.
    """
    text = text_at(root, at)
    try:
        return date.fromisoformat(text[:10]) if text else None
    except ValueError:
        pointer = "/" + "/".join(step.partition(":")[2] for step in at.split("/"))
        raise InvalidDocument([Fault(pointer, "ubl.date", f"{text} is not a day of the years 1 to 9999")]) from None


def read_decimal(root: Element, at: str) -> Decimal | None:
    """Read a number as written."""
    text = text_at(root, at)
    return Decimal(text) if text else None


def number_at(root: Element, at: str, otherwise: Decimal = ZERO) -> Decimal:
    """Read a number as written. Return ``otherwise`` if there is none or it is zero."""
    return read_decimal(root, at) or otherwise


def unit_at(root: Element, at: str) -> str:
    """Return the ``unitCode`` of a quantity, or an empty text."""
    found = root.find(at, PREFIXES)
    return (found.get("unitCode") or "") if found is not None else ""


def unknown_unit(unit: str) -> str:
    """Return the error for a unit code that is not in our list."""
    return f"{unit!r} is not a unit of UN/ECE Recommendation 20 that is traded here, such as C62, H87, MTR or KGM"
