"""Bulk prices of a supplier: each price is checked on its own; a dry run stores nothing."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction

from catalogue import queries, services
from catalogue.api.serializers import SupplierOwnPriceIn
from catalogue.models import Component, Supplier, SupplierPrice
from fencing.model.faults import Fault, InvalidDocument
from shared.api.serializers import read_each
from shared.business.actors import Actor
from shared.common.dates import today
from shared.common.problems import from_refusal, from_validation
from shared.database import audit_log
from shared.models import Business, SupplierAccount

MAX_PRICES = 5_000
_BATCH, _MAX_DAYS = 500, 500
_PROVEN = ["business", "supplier", "component"]
_SET = {"id", "business", "ref", "created_at", "updated_at", "version"}
_COMPARED = [field.attname for field in SupplierPrice._meta.concrete_fields if field.name not in _SET]
Body = dict[str, Any] | InvalidDocument
Key = tuple[int, int, date]


@dataclass(slots=True)
class BatchResult:
    """Result of one price: 201 stored, 200 unchanged or would be stored, 424 not stored because of another, 422 rejected."""

    index: int
    status: int
    result: str
    ref: str = ""
    errors: list[dict[str, str]] = field(default_factory=list)

    def row(self) -> dict[str, Any]:
        """Return the result as the API shows it."""
        return {
            "index": self.index,
            "status": self.status,
            "result": self.result,
            "ref": self.ref or None,
            "errors": self.errors,
        }


@dataclass(frozen=True, slots=True)
class New:
    """A price to store, with its values."""

    row: SupplierPrice
    values: dict[str, Any]


@dataclass(frozen=True, slots=True)
class Unchanged:
    """The ref of a price that is stored already with the same values."""

    ref: str


CheckedPrice = New | Unchanged | list[dict[str, str]]


@dataclass(frozen=True, slots=True)
class SupplierReferences:
    """References that the account may use: suppliers by business ref, components by business and sku."""

    suppliers: Mapping[str, Supplier]
    components: Mapping[tuple[int, str], Component]


def store_prices(
    *, account: SupplierAccount, actor: Actor, prices: Sequence[Any], test: bool, whole: bool, dry: bool
) -> list[BatchResult]:
    """Store the valid prices. ``whole``: store nothing if one is rejected; ``dry``: only return the results.

    A price that is stored already with the same values is unchanged, so a batch can be sent again.
    The number of queries depends on the number of businesses, not of prices.
    """
    known, bodies = _load_references(account, prices, test), list(read_each(SupplierOwnPriceIn, prices))
    try:
        return _store_batch(known, actor, bodies, whole=whole, dry=dry)
    except IntegrityError:
        # a concurrent request stored one of them: it is found now and rejected as a duplicate
        return _store_batch(known, actor, bodies, whole=whole, dry=dry)


@transaction.atomic
def _store_batch(
    known: SupplierReferences, actor: Actor, bodies: Sequence[Body], *, whole: bool, dry: bool
) -> list[BatchResult]:
    stored = _stored_keys(known, bodies)
    checked = [_check(known, stored, body) for body in bodies]
    bad = any(isinstance(item, list) for item in checked)
    if not dry and not (whole and bad):
        _store([item for item in checked if isinstance(item, New)], actor)
    return [_result(index, item, dry=dry, skipped=whole and bad) for index, item in enumerate(checked)]


def _result(index: int, item: CheckedPrice, *, dry: bool, skipped: bool) -> BatchResult:
    match item:
        case Unchanged():
            return BatchResult(index, 200, "unchanged", item.ref)
        case New() if skipped:
            return BatchResult(index, 424, "not_stored")
        case New() if dry:
            return BatchResult(index, 200, "would_be_stored")
        case New():
            return BatchResult(index, 201, "stored", item.row.ref)
    return BatchResult(index, 422, "rejected", errors=_with_pointers(item, index))


def _load_references(account: SupplierAccount, offers: Sequence[Any], test: bool) -> SupplierReferences:
    rows = queries.suppliers_of(account, test=test).select_related("business").filter(business__suspended_at=None)
    suppliers = {row.business.ref: row for row in rows}
    skus = {str(offer.get("component")) for offer in offers if isinstance(offer, Mapping)}
    components: dict[tuple[int, str], Component] = {}
    for supplier in suppliers.values():
        for row in queries.components(supplier.business).filter(sku__in=skus):
            components[supplier.business_id, row.sku] = row
    return SupplierReferences(suppliers, components)


def _stored_keys(known: SupplierReferences, bodies: Sequence[Body]) -> dict[Key, SupplierPrice | None]:
    """Return the stored prices that begin on one of these days."""
    days = {body["valid_from"] for body in bodies if isinstance(body, dict)}
    found = dict[Key, SupplierPrice | None]()
    for supplier in known.suppliers.values():
        rows = SupplierPrice.objects.of(supplier.business).filter(supplier=supplier)
        if len(days) <= _MAX_DAYS:
            rows = rows.filter(valid_from__in=days)
        found.update({(supplier.pk, row.component_id, row.valid_from): row for row in rows})
    return found


def _check(known: SupplierReferences, stored: dict[Key, SupplierPrice | None], body: Body) -> CheckedPrice:
    """Check a price: return the row to store, the stored row, or its errors."""
    if isinstance(body, InvalidDocument):
        return from_refusal(body).errors
    try:
        row, values = _offer(known, dict(body))
        key = (row.supplier_id, row.component_id, row.valid_from)
        if (there := stored.get(key)) is not None and all(
            getattr(there, name) == getattr(row, name) for name in _COMPARED
        ):
            return Unchanged(there.ref)
        _check_days(row)
        row.full_clean(exclude=_PROVEN, validate_unique=False, validate_constraints=False)
        if key in stored:
            raise InvalidDocument([Fault("/valid_from", "valid_from.taken", "Another price begins on this day.")])
    except InvalidDocument as refused:
        return from_refusal(refused).errors
    except ValidationError as fault:
        return from_validation(fault).errors
    stored[key] = None
    return New(row, values)


def _offer(known: SupplierReferences, values: dict[str, Any]) -> tuple[SupplierPrice, dict[str, Any]]:
    supplier = known.suppliers.get(values.pop("business"))
    sku = values.pop("component")
    if supplier is None:
        raise InvalidDocument([Fault("/business", "unknown", "You do not supply this business.")])
    component = known.components.get((supplier.business_id, sku))
    if component is None:
        raise InvalidDocument([Fault("/component", "unknown", "This business does not have this component.")])
    return SupplierPrice(business=supplier.business, supplier=supplier, component=component, **values), values


def _check_days(row: SupplierPrice) -> None:
    if row.valid_from < today(row.business):
        raise InvalidDocument([Fault("/valid_from", "past", "A price cannot begin in the past.")])
    if row.valid_to and row.valid_to < row.valid_from:
        raise InvalidDocument([Fault("/valid_to", "range", "A price cannot end before it begins.")])


def _store(offers: Sequence[New], actor: Actor) -> None:
    """Store the prices, each with its audit entry."""
    by_business: dict[Business, list[New]] = defaultdict(list)
    for offer in offers:
        by_business[offer.row.business].append(offer)
    for business, rows in sorted(by_business.items(), key=lambda pair: pair[0].pk):
        SupplierPrice.objects.of(business).bulk_create([row.row for row in rows], batch_size=_BATCH)
        data = [
            (f"offer:{row.row.ref}", {name: services.plain(value) for name, value in row.values.items()})
            for row in rows
        ]
        audit_log.record_each(business, actor, "offer.added", data)


def _with_pointers(errors: list[dict[str, str]], index: int) -> list[dict[str, str]]:
    """Return the errors with pointers into the whole body."""
    return [
        {**error, "pointer": f"#/prices/{index}{error['pointer'].removeprefix('#')}"} if "pointer" in error else error
        for error in errors
    ]
