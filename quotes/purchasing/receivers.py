"""Answers of orders and stock to the signals of earlier stages. They import the orders when they are first asked for."""

from __future__ import annotations

from typing import Any

from django.dispatch import receiver

from quotes.documents.hooks import saw_sheet_asked
from quotes.jobs.hooks import Ordered, job_state_changed, ordered_requested
from quotes.jobs.models import Job, JobState
from quotes.quoting.models import Revision
from shared.business.actors import Actor


@receiver(saw_sheet_asked)
def make_saw_sheet(sender: object, revision: Revision, **_: Any) -> bytes:
    """Return the saw sheet of a revision."""
    from quotes.purchasing.saw_sheets import saw_pdf

    return saw_pdf(revision)


@receiver(job_state_changed)
def release_reservations_of_job(sender: object, job: Job, actor: Actor, **_: Any) -> None:
    """Release the reservations of a cancelled job."""
    from quotes.purchasing.stock_services import release_job

    if job.state == JobState.CANCELLED:
        release_job(job=job, actor=actor)


@receiver(ordered_requested)
def sum_ordered(sender: object, job: Job, **_: Any) -> dict[str, Ordered]:
    """Return the quantities and costs ordered for a job, by role."""
    from quotes.purchasing.queries import ordered

    return ordered(job)
