"""Setting a business up from nothing: an invented starter catalogue that its owner then makes their own."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import transaction

from catalogue import queries, services
from catalogue.models import Finish, PriceRule, Supplier, SupplierTerms
from catalogue.rules.codes import ImportKind
from catalogue.rules.price_rule_lines import RuleKind
from catalogue.spreadsheets.import_rows import dry_run, save_import
from fencing.model.faults import Fault, InvalidDocument
from fencing.model.system import SYSTEM_SCHEMA
from shared.business.actors import SYSTEM, Actor
from shared.business.models import Business, Person
from shared.business.places import usual_locale, zones_of
from shared.common.money import minor_digits
from shared.members import invitations
from shared.members.services import start_business

STARTER = Path(settings.ROOT) / "demo" / "catalogue"
BEGINS = date(2024, 1, 1)


@dataclass(frozen=True, slots=True)
class NewBusiness:
    """First data of a business. ``tax_rate`` in percent, 0 for none."""

    name: str
    owner: str
    country: str
    currency: str
    city: str = ""
    tax_name: str = "Tax"
    tax_rate: Decimal = Decimal(0)
    time_zone: str = ""
    """Empty: the country's, if it has one alone; otherwise UTC until it is chosen."""

    def __post_init__(self) -> None:
        minor_digits(self.currency)
        if not 0 <= self.tax_rate < 100:
            raise ValueError("a tax rate is from 0 to below 100 percent")


def find_business(new: NewBusiness) -> Business | None:
    """Return the business that has this name and owner, or None."""
    return Business.objects.filter(name=new.name, members__person__email=new.owner.strip().lower()).first()


@transaction.atomic
def create_business(
    new: NewBusiness,
    *,
    password: str | None = None,
    details: Mapping[str, Any] | None = None,
    stocked: bool = True,
    accepted: bool = False,
) -> tuple[Business, bool]:
    """Return the business with its catalogue, and whether it is new. An existing business is not changed.

    Not ``stocked``, it has nothing but its tax: its catalogue comes by API, by spreadsheet or in the admin. The owner is
    invited by mail, unless this creates their account with a password or ``accepted`` is set, as for a demonstration.
    The password of an account that exists stays.
    """
    known = find_business(new)
    if known is not None:
        return known, False
    owner = Person.objects.filter(email=new.owner.strip().lower()).first()
    accepted = accepted or (owner is None and password is not None)
    owner = owner or Person.objects.create_user(new.owner, password)
    business = start_business(
        owner=owner,
        accepted=accepted,
        name=new.name,
        country=new.country,
        currency=new.currency,
        city=new.city,
        tax_name=new.tax_name,
        **{
            "time_zone": new.time_zone or _usual_zone(new.country),
            "locale": usual_locale(new.country),
            **(details or {}),
        },
    )
    if not accepted:
        invitations.send_letter(member=business.members.get(), actor=SYSTEM)
    if stocked:
        load_starter(business, tax_name=new.tax_name, tax_rate=new.tax_rate)
    else:
        _tax(business, new.tax_name, new.tax_rate)
        on_all = {"option": "standard", "label": "All that is sold", "valid_from": BEGINS}
        services.add_dated(PriceRule(business=business, kind=RuleKind.TAX_OF), actor=SYSTEM, values=on_all, past=True)
    return business, True


def _usual_zone(country: str) -> str:
    zones = zones_of(country)
    return zones[0] if len(zones) == 1 else "UTC"


@transaction.atomic
def load_starter(business: Business, *, tax_name: str, tax_rate: Decimal) -> None:
    """Finishes, components, suppliers, offers, price rules with the tax, and a complete fence system."""
    _load(business, SYSTEM)
    _tax(business, tax_name, tax_rate)


def is_empty(business: Business) -> bool:
    """Return whether only price rules are stored."""
    kinds = (queries.systems, queries.components, queries.suppliers, queries.finishes)
    return not any(rows(business).exists() for rows in kinds)


@transaction.atomic
def load_sample_catalogue(business: Business, *, actor: Actor) -> None:
    """Load the sample catalogue into an empty business. Raise if it has records."""
    Business.objects.select_for_update(no_key=True).get(
        pk=business.pk
    )  # of two presses at once the second finds it done
    if not is_empty(business):
        raise InvalidDocument(
            [Fault("", "stocked", "There is something stored already, so the starter set was not added to it.")]
        )
    _load(business, actor)


def _load(business: Business, actor: Actor) -> None:
    starter = json.loads((STARTER / "starter.json").read_text(encoding="utf-8"))
    for finish in starter["finishes"]:
        services.store(Finish(business=business), actor=actor, values=finish)
    _sheet(business, ImportKind.COMPONENTS, actor)
    for supplier in starter["suppliers"]:
        _supplier(business, supplier, actor)
    _sheet(business, ImportKind.SUPPLIER_PRICES, actor)
    _sheet(business, ImportKind.PRICE_RULES, actor)
    for path in sorted(STARTER.glob("*.json")):
        document = json.loads(path.read_text(encoding="utf-8"))
        if document.get("schema") == SYSTEM_SCHEMA:
            services.store_system(business=business, actor=actor, document=document)


def _tax(business: Business, name: str, rate: Decimal) -> None:
    tax = {"value": rate, "option": "S" if rate else "Z", "label": name, "valid_from": BEGINS}
    services.add_dated(
        PriceRule(business=business, kind=RuleKind.TAX, applies_to="standard"), actor=SYSTEM, values=tax, past=True
    )


def _supplier(business: Business, values: dict[str, Any], actor: Actor) -> None:
    terms = values.pop("terms")
    supplier = services.store(Supplier(business=business), actor=actor, values=values)
    values = {
        **terms,
        "valid_from": date.fromisoformat(terms["valid_from"]),
        "minimum_order": Decimal(terms["minimum_order"]),
    }
    services.add_dated(SupplierTerms(business=business, supplier=supplier), actor=actor, values=values, past=True)


def _sheet(business: Business, kind: ImportKind, actor: Actor) -> None:
    path = STARTER / f"{kind.value}.csv"
    sheet, found = dry_run(kind, path.read_bytes(), business, past=True)
    save_import(sheet, found, business, actor=actor, file_name=path.name)
