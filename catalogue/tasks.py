"""Background tasks: import files and make long cutting plans."""

from __future__ import annotations

from datetime import timedelta

from catalogue.engine import cutting_plans
from catalogue.spreadsheets import import_jobs
from shared.background.outbox import Event, Finish, on_event, run_every
from shared.business.actors import Actor


@on_event(import_jobs.ASKED, name="catalogue.import_file", slow=True)
def import_file(event: Event) -> Finish | None:
    """Plans outside of any transaction, writes in the one that marks it done."""
    row = import_jobs.waiting(event.business, event.subject) if event.business else None
    if row is None:
        return None
    planned, actor = import_jobs.prepare(row), Actor("person", "", row.requested_by)

    def finish() -> None:
        import_jobs.finish(row, planned, actor)

    return finish


@on_event(cutting_plans.ASKED, name="catalogue.make_cutting_plan", slow=True, attempts=2)
def make_cutting_plan(event: Event) -> Finish | None:
    """Search outside of any transaction and save the best plan so far on the record."""
    row = cutting_plans.open_plan(event.business, event.subject) if event.business else None
    if row is None:
        return None
    plan = cutting_plans.search(row)

    def finish() -> None:
        cutting_plans.finish(row, plan)

    return finish


@run_every(timedelta(hours=1), name="catalogue.delete_old_plans")
def delete_old_plans() -> None:
    """Delete plans that were not read."""
    cutting_plans.clear()
