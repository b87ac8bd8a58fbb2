"""Taking a planned file in: all of it or nothing, in batches, with who did it and every price that changed."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from decimal import Decimal
from itertools import islice
from typing import Any, TypeVar

from django.db import transaction
from django.utils import timezone

from catalogue.rules.codes import ImportKind
from catalogue.rules.hooks import effect_on_quotes
from catalogue.spreadsheets.file_reader import read_sheet
from catalogue.spreadsheets.import_plan import Change, ImportPlan, Progress, plan
from catalogue.spreadsheets.sheet_types import SheetType, kind_for
from fencing.model.faults import Fault, InvalidDocument
from shared.business.actors import Actor
from shared.business.models import Business
from shared.database import audit_log

BATCH = 500
SHOWN = 200  # rows of each sort that a report tells one by one; it always tells how many there are
_AUDITED = 100  # changes listed in one audit entry
ItemT = TypeVar("ItemT")


def _batches(items: Iterable[ItemT], size: int) -> Iterator[list[ItemT]]:
    source = iter(items)
    while batch := list(islice(source, size)):
        yield batch


def dry_run(
    kind: ImportKind, content: bytes, business: Business, *, past: bool = False, progress: Progress | None = None
) -> tuple[SheetType, ImportPlan]:
    """Return the preview of a file. Raise SheetRefusedError if it is not a spreadsheet of this data type."""
    sheet = kind_for(kind, business)
    return sheet, plan(sheet, read_sheet(content), business, past=past, progress=progress)


def _cell_texts(kind: SheetType, values: Mapping[str, Any]) -> dict[str, str]:
    return {column.name: column.write(values[column.attr]) for column in kind.columns if column.attr in values}


def report(kind: SheetType, found: ImportPlan, business: Business) -> dict[str, Any]:
    """Return the report of a plan for the API and the pages."""
    return {
        "kind": kind.kind.value,
        "rows": found.rows,
        "added": len(found.added),
        "changed": len(found.changed),
        "unchanged": found.unchanged,
        "rejected": len(found.refused),
        "errors": [{"row": item.row, "column": item.column, "reason": item.reason} for item in found.refused[:SHOWN]],
        "changed_rows": [{"row": item.row, **_change(kind, item)} for item in found.changed[:SHOWN]],
        "added_rows": [_cell_texts(kind, values) for values in found.added[:SHOWN]],
        "open_quotes": effect_on_quotes(business, kind.kind, _touched(kind, found)),
    }


def _change(kind: SheetType, change: Change) -> dict[str, Any]:
    return {
        "key": _key(kind, change.before),
        "before": _cell_texts(kind, _same(change)),
        "after": _cell_texts(kind, change.values),
    }


def _same(change: Change) -> dict[str, Any]:
    return {attr: change.before[attr] for attr in change.values}


def _key(kind: SheetType, values: Mapping[str, Any]) -> str:
    return " ".join(column.write(values[column.attr]) for column in kind.columns if column.key)


def _touched(kind: SheetType, found: ImportPlan) -> dict[str, Decimal | None]:
    """Skus whose data or price a file changes, with the new price; none for the other sheets, which name no sku."""
    if kind.kind not in (ImportKind.COMPONENTS, ImportKind.SUPPLIER_PRICES):
        return {}
    rows = found.given(kind).values()
    if kind.kind is ImportKind.COMPONENTS:
        return {str(row["sku"]): None for row in rows}
    write = next(column.write for column in kind.columns if column.attr == "component_id")
    prices: dict[str, Decimal | None] = {}
    for row in rows:
        sku, price = write(row["component_id"]), row["price"]
        prices[sku] = min(price, prices.get(sku) or price)
    return prices


def refuse(found: ImportPlan) -> None:
    """Refused when any row is, each with its row and column."""
    if found.refused:
        raise InvalidDocument(
            Fault(
                f"/rows/{item.row}/{item.column}" if item.column else f"/rows/{item.row}", "row.rejected", item.reason
            )
            for item in found.refused[:SHOWN]
        )


@transaction.atomic
def save_import(kind: SheetType, found: ImportPlan, business: Business, *, actor: Actor, file_name: str = "") -> None:
    """Save a plan without rejected rows. Queries grow with the number of batches, not of rows."""
    refuse(found)
    if kind.documents is not None:
        kind.documents.write(found.given(kind), actor)
        _record_audit(kind, found, business, actor, file_name)
        return
    rows = kind.model.objects.of(business)
    for batch in _batches(found.added, BATCH):
        rows.bulk_create([kind.model(business=business, **values) for values in batch])
    for attrs, changes in _by_attrs(found.changed).items():
        for part in _batches(changes, BATCH):
            _update(kind, business, attrs, part)
    _record_audit(kind, found, business, actor, file_name)


def _by_attrs(changes: Sequence[Change]) -> dict[tuple[str, ...], list[Change]]:
    grouped: dict[tuple[str, ...], list[Change]] = defaultdict(list)
    for change in changes:
        grouped[tuple(sorted(change.values))].append(change)
    return grouped


def _update(kind: SheetType, business: Business, attrs: tuple[str, ...], changes: list[Change]) -> None:
    rows = kind.model.objects.of(business).in_bulk([change.pk for change in changes])
    now = timezone.now()
    for change in changes:
        row = rows[change.pk]
        for attr in attrs:
            setattr(row, attr, change.values[attr])
        row.version, row.updated_at = row.version + 1, now
    fields = [attr.removesuffix("_id") for attr in attrs]
    kind.model.objects.of(business).bulk_update(rows.values(), [*fields, "version", "updated_at"], batch_size=BATCH)


def _record_audit(kind: SheetType, found: ImportPlan, business: Business, actor: Actor, file_name: str) -> None:
    """One entry for the file, then every change and addition, many to an entry."""
    subject = f"{kind.kind.value}:import"
    counts = {"file": file_name, "added": len(found.added), "changed": len(found.changed), "unchanged": found.unchanged}
    audit_log.record(business, actor, "import.applied", subject, counts)
    for changes in _batches(found.changed, _AUDITED):
        audit_log.record(
            business, actor, "import.changed_rows", subject, {"changes": [_change(kind, change) for change in changes]}
        )
    for added in _batches(found.added, _AUDITED):
        audit_log.record(
            business, actor, "import.added_rows", subject, {"added": [_cell_texts(kind, values) for values in added]}
        )
