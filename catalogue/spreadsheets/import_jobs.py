"""An import from being asked for to done: the row is what the job works from, and tells how far it is."""

from __future__ import annotations

from django.db import transaction
from django.utils import timezone

from catalogue.models import Import
from catalogue.rules.codes import ImportKind, ImportState
from catalogue.spreadsheets.file_reader import read_sheet
from catalogue.spreadsheets.import_plan import ImportPlan, check_header, fingerprint
from catalogue.spreadsheets.import_rows import dry_run, report, save_import
from catalogue.spreadsheets.limits import SheetRefusedError
from catalogue.spreadsheets.sheet_types import SheetType, kind_for
from shared.background.events import publish_event
from shared.business.actors import Actor
from shared.business.models import Business

ASKED = "catalogue.import_asked"


def ask(*, business: Business, actor: Actor, kind: ImportKind, content: bytes, file_name: str) -> Import:
    """Store a file for import. Raise SheetRefusedError at once if it is not a spreadsheet of its data type."""
    check_header(kind_for(kind, business), read_sheet(content))
    row = Import(
        business=business,
        kind=kind,
        file_name=_plain(file_name) or f"{kind.value}.csv",
        content=content,
        requested_by=actor.name[:200],
    )
    row.save()
    publish_event(ASKED, row.ref, business=business)
    return row


def _plain(name: str) -> str:
    return "".join(char for char in name if char.isprintable())[:200].strip()


def waiting(business: Business, ref: str) -> Import | None:
    """Return the import, or None if it is finished."""
    row = Import.objects.of(business).filter(ref=ref).first()
    return None if row is None or row.state in {ImportState.DONE, ImportState.REJECTED} else row


def prepare(row: Import) -> tuple[SheetType, ImportPlan] | SheetRefusedError:
    """Plans an import outside of any transaction, telling how far it is."""

    def progress(done: int) -> None:
        Import.objects.of(row.business).filter(pk=row.pk).update(rows_done=done, state=ImportState.RUNNING)

    try:
        return dry_run(ImportKind(row.kind), bytes(row.content), row.business, progress=progress)
    except SheetRefusedError as fault:
        return fault


def finish(row: Import, planned: tuple[SheetType, ImportPlan] | SheetRefusedError, actor: Actor) -> Import:
    """Save a whole plan or nothing, and the report, in the caller's transaction.

    The plan is made again when something changed since, so that nothing is written over that was not looked at.
    """
    if isinstance(planned, SheetRefusedError):
        return _end(row, ImportState.REJECTED, {"rejected": 1, "errors": [_error_report(planned)]})
    kind, found = planned
    if fingerprint(kind, row.business) != found.fingerprint:
        kind, found = dry_run(ImportKind(row.kind), bytes(row.content), row.business)
    data = report(kind, found, row.business)
    row.rows_total = row.rows_done = found.rows
    if found.refused:
        return _end(row, ImportState.REJECTED, data)
    with transaction.atomic():
        save_import(kind, found, row.business, actor=actor, file_name=row.file_name)
    return _end(row, ImportState.DONE, data)


def _error_report(fault: SheetRefusedError) -> dict[str, object]:
    return {"row": fault.row, "column": "", "reason": fault.reason}


def _end(row: Import, state: ImportState, report: dict[str, object]) -> Import:
    row.state, row.report, row.finished_at = state, report, timezone.now()
    row.save(update_fields=["state", "report", "finished_at", "rows_total", "rows_done"])
    return row
