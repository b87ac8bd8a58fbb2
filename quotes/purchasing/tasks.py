"""What follows from what happened to jobs and orders."""

from __future__ import annotations

from datetime import timedelta

from quotes.documents.models import Document, Kind
from quotes.documents.services import makes
from quotes.jobs.models import Job, JobState
from quotes.purchasing import stock_services
from quotes.purchasing.models import Hold, HoldState
from quotes.purchasing.order_pdf import list_pdf
from quotes.purchasing.saw_sheets import saw_pdf
from shared.background.outbox import regularly
from shared.business.actors import SYSTEM


@makes(Kind.SAW_SHEET)
def make_saw_sheet(document: Document) -> bytes:
    """Every bar with its cuts, for what was agreed by the document's revision."""
    if document.revision is None:
        raise ValueError("a saw sheet is of a revision")
    return saw_pdf(document.revision)


@makes(Kind.ORDER_LIST)
def make_order_list(document: Document) -> bytes:
    """An order as it was when it was placed."""
    return list_pdf(document.content)


@regularly(timedelta(minutes=10))
def let_go_of_cancelled_jobs() -> None:
    """What was kept for a cancelled job is free again at once; this finds what was kept for it in the same moment."""
    held = Hold.anywhere.filter(  # unscoped: a routine of the system, job by job
        state=HoldState.HELD, job__state=JobState.CANCELLED
    )
    for job in Job.anywhere.filter(pk__in=held.values("job")):  # unscoped: as above
        stock_services.release_job(job=job, actor=SYSTEM)
