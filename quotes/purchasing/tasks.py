"""Background tasks of jobs and orders."""

from __future__ import annotations

from datetime import timedelta

from quotes.documents.models import Document, DocumentKind
from quotes.documents.services import makes
from quotes.jobs.models import Job, JobState
from quotes.purchasing import stock_services
from quotes.purchasing.models import Reservation, ReservationState
from quotes.purchasing.order_pdf import list_pdf
from quotes.purchasing.saw_sheets import saw_pdf
from shared.background.outbox import run_every
from shared.business.actors import SYSTEM


@makes(DocumentKind.SAW_SHEET)
def make_saw_sheet(document: Document) -> bytes:
    """Return the saw sheet of the document's revision."""
    if document.revision is None:
        raise ValueError("a saw sheet needs a revision")
    return saw_pdf(document.revision)


@makes(DocumentKind.ORDER_LIST)
def make_order_list(document: Document) -> bytes:
    """Return the order list as of the placing of the order."""
    return list_pdf(document.content)


@run_every(timedelta(minutes=10), name="purchasing.release_cancelled_jobs")
def release_cancelled_jobs() -> None:
    """Release reservations that were made at the same moment as their job was cancelled."""
    reserved = Reservation.unscoped.filter(  # unscoped: a routine of the system, job by job
        state=ReservationState.RESERVED, job__state=JobState.CANCELLED
    )
    for job in Job.unscoped.filter(pk__in=reserved.values("job")):  # unscoped: as above
        stock_services.release_job(job=job, actor=SYSTEM)
