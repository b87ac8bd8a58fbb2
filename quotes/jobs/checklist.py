"""Ticking off holes, bays and gates: marks made without a connection arrive late, and the later mark counts."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction
from django.utils import timezone

from fencing.model.faults import Fault, InvalidDocument
from quotes.jobs.models import ChecklistEntry, Job
from shared.business.actors import Actor
from shared.database import audit_log


@dataclass(frozen=True, slots=True)
class ChecklistMark:
    """A checklist mark and its time by the clock of the sender."""

    place: str
    done: bool
    at: datetime


@transaction.atomic
def tick(*, job: Job, marks: Iterable[ChecklistMark], known: frozenset[str], actor: Actor) -> dict[str, bool]:
    """Save the marks that are later than the stored ones. The same marks again change nothing.

    A clock that runs ahead counts as now, so that its marks do not outlast all others. Reject elements that are not on this job.
    """
    data = list(marks)
    strange = sorted({mark.place for mark in data} - known)
    if strange:
        raise InvalidDocument(
            [Fault("/marks", "place.unknown", f"There is no {place!r} on this job.") for place in strange]
        )
    Job.objects.of(job.business).select_for_update(no_key=True).get(pk=job.pk)
    rows = {row.place: row for row in ChecklistEntry.objects.of(job.business).filter(job=job)}
    now, changed = timezone.now(), dict[str, bool]()
    for mark in data:
        at = min(mark.at, now)
        row = rows.get(mark.place) or ChecklistEntry(
            business=job.business, job=job, place=mark.place, done=False, marked_at=at
        )
        if row.pk and row.marked_at >= at:
            continue
        row.done, row.marked_at, row.created_by = mark.done, at, actor.name[:160]
        row.save()
        rows[mark.place] = row
        changed[mark.place] = row.done
    if changed:
        audit_log.record(job.business, actor, "checklist.changed", f"job:{job.ref}", {"places": changed})
    return {place: row.done for place, row in rows.items()}


def ticked(job: Job) -> Mapping[str, ChecklistEntry]:
    """Return the last mark of each element."""
    return {row.place: row for row in ChecklistEntry.objects.of(job.business).filter(job=job)}
