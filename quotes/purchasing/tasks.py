"""Background tasks of jobs and orders."""

from __future__ import annotations

from datetime import timedelta

from quotes.jobs.models import Job, JobState
from quotes.purchasing import stock_services
from quotes.purchasing.models import Reservation, ReservationState
from shared.background.outbox import run_every
from shared.business.actors import SYSTEM


@run_every(timedelta(minutes=10), name="purchasing.release_cancelled_jobs")
def release_cancelled_jobs() -> None:
    """Release reservations that were made at the same moment as their job was cancelled."""
    reserved = Reservation.unscoped.filter(  # unscoped: a routine of the system, job by job
        state=ReservationState.RESERVED, job__state=JobState.CANCELLED
    )
    for job in Job.unscoped.filter(pk__in=reserved.values("job")):  # unscoped: as above
        stock_services.release_job(job=job, actor=SYSTEM)
