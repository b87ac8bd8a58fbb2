"""What follows from what happened to jobs and orders."""

from __future__ import annotations

from datetime import timedelta

from quotes.jobs.models import Job, JobState
from quotes.orders import stock
from quotes.orders.models import Hold, HoldState
from shared.business.actors import SYSTEM
from shared.outbox import regularly


@regularly(timedelta(minutes=10))
def let_go_of_cancelled_jobs() -> None:
    """What was kept for a cancelled job is free again at once; this finds what was kept for it in the same moment."""
    held = Hold.anywhere.filter(  # unscoped: a routine of the system, job by job
        state=HoldState.HELD, job__state=JobState.CANCELLED
    )
    for job in Job.anywhere.filter(pk__in=held.values("job")):  # unscoped: as above
        stock.release_job(job=job, actor=SYSTEM)
