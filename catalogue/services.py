"""Changing the catalogue. Every change is written with who made it; prices of past days are never changed."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator, Mapping
from datetime import date
from typing import Any, TypeVar

import orjson
from django.core.exceptions import ValidationError
from django.db import IntegrityError, models, transaction

from catalogue.models import (
    Component,
    FenceSystem,
    FenceSystemVersion,
    Finish,
    PriceRule,
    Supplier,
    SupplierPrice,
    SupplierTerms,
)
from fencing.model.faults import Fault, InvalidDocument
from fencing.reading.system import read_system
from shared.business.actors import Actor
from shared.business.business_owned import BusinessOwned
from shared.business.models import Business
from shared.common.dates import today
from shared.common.json_encoder import write_json
from shared.database import audit_log

RowT = TypeVar("RowT", bound=BusinessOwned)

_UNIQUE: dict[type[BusinessOwned], tuple[tuple[str, ...], str]] = {
    Finish: (("code",), "code"),
    Component: (("sku",), "sku"),
    FenceSystem: (("code",), "code"),
    Supplier: (("code",), "code"),
    SupplierTerms: (("supplier", "valid_from"), "valid_from"),
    SupplierPrice: (("supplier", "component", "valid_from"), "valid_from"),
    PriceRule: (("kind", "applies_to", "valid_from"), "valid_from"),
}


def plain(value: Any) -> Any:
    """Return a column's value for the audit log."""
    if isinstance(value, models.Model):
        return str(value)
    return value if value is None or isinstance(value, bool | int | str | list | dict) else str(value)


def refuse_double(row: BusinessOwned) -> None:
    """Refused when the business has another row of the same code, sku or day."""
    fields, named = _UNIQUE[type(row)]
    rows = type(row).objects.of(row.business).filter(**{field: getattr(row, field) for field in fields})
    if rows.exclude(pk=row.pk).exists():
        raise InvalidDocument(
            [Fault(f"/{named}", f"{named}.taken", "There is one already with the same " + " and ".join(fields) + ".")]
        )


@transaction.atomic
def store(row: RowT, *, actor: Actor, values: Mapping[str, Any] | None = None) -> RowT:
    """Save a new or changed record with its audit entry. An unchanged record is not written."""
    values = dict(values or {})
    adding = row._state.adding
    if not adding and all(_is(getattr(row, name), value) for name, value in values.items()):
        return row
    before = {} if adding else _audit_values(row, values)
    for name, value in values.items():
        setattr(row, name, value)
    after = _audit_values(row, values)
    _save_once(row)
    kind = row._meta.model_name or ""
    if adding:
        audit_log.record(row.business, actor, f"{kind}.added", f"{kind}:{row.ref}", after)
    else:
        changed = {name: [before[name], after[name]] for name in after if before[name] != after[name]}
        audit_log.record(row.business, actor, f"{kind}.changed", f"{kind}:{row.ref}", changed)
    return row


def _is(stored: Any, value: Any) -> bool:
    """Return whether a column has this value already: 10 equals 10.000, and equal texts are equal."""
    return bool(stored == value) or plain(stored) == plain(value)


def _audit_values(row: BusinessOwned, names: Iterable[str]) -> dict[str, Any]:
    """Return a record's columns for the audit log."""
    return {name: plain(getattr(row, name)) for name in names}


def _save_once(row: BusinessOwned) -> None:
    """Save a valid new record. Raise InvalidDocument for a duplicate, including one from a concurrent request."""
    row.full_clean(exclude=["business"], validate_unique=False, validate_constraints=False)
    refuse_double(row)
    try:
        row.validate_constraints()
        with transaction.atomic():
            row.save()
    except (IntegrityError, ValidationError):  # a concurrent request saved it a moment ago
        refuse_double(row)
        raise


@transaction.atomic
def remove(row: BusinessOwned, *, actor: Actor) -> None:
    """Delete a record without references. Raise if it has references, because past records stay readable."""
    kind, ref = row._meta.model_name or "", row.ref
    try:
        row.delete()
    except models.ProtectedError as used:
        raise InvalidDocument(
            [Fault("", f"{kind}.used", "It is in use; end it by date or mark it as no longer active.")]
        ) from used
    audit_log.record(row.business, actor, f"{kind}.removed", f"{kind}:{ref}", {"was": str(row)})


DatedT = TypeVar("DatedT", SupplierPrice, PriceRule)


def change_dated(row: DatedT, *, actor: Actor, values: Mapping[str, Any]) -> DatedT:
    """Change a supplier price or price rule. If it has begun, only its end may change, and not to a past day."""
    _keep_the_past(row, values)
    return store(row, actor=actor, values=values)


def change_terms(row: SupplierTerms, *, actor: Actor, values: Mapping[str, Any]) -> SupplierTerms:
    """Change a supplier's terms before they begin."""
    if row.begun:
        raise InvalidDocument([Fault("", "past", "These terms have begun: give new ones from a later day.")])
    return add_dated(row, actor=actor, values=values)


def remove_dated(row: SupplierPrice | PriceRule | SupplierTerms, *, actor: Actor) -> None:
    """Delete a supplier price or price rule that has not begun."""
    if row.begun:
        raise InvalidDocument(
            [Fault("", "past", "It has begun, so it can only be ended; past days keep their prices.")]
        )
    remove(row, actor=actor)


def _keep_the_past(row: SupplierPrice | PriceRule, values: Mapping[str, Any]) -> None:
    changed = {name: value for name, value in values.items() if value != getattr(row, name)}
    faults = list(_begun_faults(row.business, changed)) if row.begun else []
    if _is_past(row.business, changed.get("valid_from")):
        faults.append(Fault("/valid_from", "past", "A price can't begin in the past."))
    if faults:
        raise InvalidDocument(faults)


def _begun_faults(business: Business, changed: Mapping[str, Any]) -> Iterator[Fault]:
    """Return the fields of a begun price that may not change: all but its end, and that not to a past day."""
    for name in sorted(changed.keys() - {"valid_to"}):
        yield Fault(f"/{name}", "past", "This price has begun: give a new one from a later day, or end this one.")
    if _is_past(business, changed.get("valid_to")):
        yield Fault("/valid_to", "past", "It can't end in the past: past days keep their prices.")


def _is_past(business: Business, day: object) -> bool:
    return isinstance(day, date) and day < today(business)


def add_dated(row: RowT, *, actor: Actor, values: Mapping[str, Any], past: bool = False) -> RowT:
    """Add a supplier price, price rule or supplier terms, from today or later, except while a business is set up."""
    if not past and _is_past(row.business, values.get("valid_from")):
        raise InvalidDocument([Fault("/valid_from", "past", "A price can't begin in the past.")])
    return store(row, actor=actor, values=values)


@transaction.atomic
def store_system(
    *, business: Business, actor: Actor, document: Mapping[str, Any], system: FenceSystem | None = None
) -> FenceSystemVersion:
    """Save the next version of a fence system (the first without ``system``); an equal document changes nothing."""
    read = read_system(document)
    if system is None:
        system = FenceSystem(business=business, code=read.code)
        first = not FenceSystem.objects.of(business).filter(is_default=True).exists()
        store(system, actor=actor, values={"label": read.label, "is_default": first})
    elif system.code != read.code:
        raise InvalidDocument(
            [Fault("/code", "code.fixed", f"This fence system's code is {system.code} and stays so.")]
        )
    written = write_json(document)  # exact numbers become texts, which the document allows wherever it has any
    document = orjson.loads(written)
    rows = FenceSystemVersion.objects.of(business).filter(system=system)
    last = rows.order_by("-number").first()
    # compare the content, not the digest: PostgreSQL stores members in its own order
    if last is not None and last.document == document:
        return last
    digest = hashlib.sha256(written).hexdigest()
    system.latest_version = (last.number if last else 0) + 1
    system.label = read.label
    system.save()
    version = FenceSystemVersion(
        business=business, system=system, number=system.latest_version, document=document, sha256=digest
    )
    version.save()
    detail = {"version": version.number, "sha256": digest}
    audit_log.record(business, actor, "fencesystem.version", f"fencesystem:{system.ref}", detail)
    return version


@transaction.atomic
def change_system(*, system: FenceSystem, actor: Actor, values: Mapping[str, Any]) -> FenceSystem:
    """Make a system the default, or deactivate or reactivate it."""
    active = values.get("active", system.active)
    if values.get("is_default", system.is_default) and not active:
        raise InvalidDocument(
            [Fault("/active", "system.default", "The default system stays active; make another the default first.")]
        )
    if values.get("is_default"):
        FenceSystem.objects.of(system.business).filter(is_default=True).exclude(pk=system.pk).update(is_default=False)
    return store(system, actor=actor, values=values)
