"""Records of the crew: as-built entries (materials used, returns, changes on site) and the checklist of holes, bays and gates."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.utils import timezone

from catalogue.rules.codes import whole_fault
from fencing.model.faults import Fault, InvalidDocument
from quotes.jobs.models import AsBuilt, BuiltKind, ChecklistEntry, Job, JobState
from quotes.jobs.services import note_event
from shared.business.actors import Actor
from shared.business.business_owned import derived_ref
from shared.common.problems import Problem
from shared.database import audit_log


@transaction.atomic
def record_built(*, job: Job, kind: str, actor: Actor, sent_as: str = "", **details: Any) -> AsBuilt:
    """One more entry. Only while the fence is being built or has just been.

    Args:
        sent_as: an id chosen by the sender, unique on the job. The same id again returns the first entry.
    """
    if sent_as:
        Job.objects.of(job.business).select_for_update(no_key=True).get(pk=job.pk)
        details["ref"] = derived_ref("as-built", job.ref, sent_as)
        before = AsBuilt.objects.of(job.business).filter(ref=details["ref"]).first()
        if before is not None:
            return before
    if job.state not in {JobState.ACCEPTED, JobState.BUILT}:
        raise Problem("conflict", f"As-built is recorded on an accepted or built job, not on one that is {job.state}.")
    if fault := whole_fault(details.get("unit", ""), Decimal(details.get("quantity", 0)), "/quantity"):
        raise InvalidDocument([fault])
    entry = AsBuilt(business=job.business, job=job, kind=kind, created_by=actor.name[:160], **details)
    entry.full_clean(exclude=["business", "job", "reverses"])
    entry.save()
    if kind == BuiltKind.CHANGED:
        where = f" at {entry.location}" if entry.location else ""
        note_event(job=job, kind="built.changed", text=f"Built otherwise{where}: {entry.note}", actor=actor)
    audit_log.record(job.business, actor, "as_built.recorded", f"job:{job.ref}", {"entry": entry.ref, "kind": kind})
    return entry


@transaction.atomic
def take_back(*, entry: AsBuilt, actor: Actor) -> AsBuilt:
    """Undo a mistaken entry by a reverse entry; both stay on record. A second call returns the first reverse entry."""
    done = AsBuilt.objects.of(entry.business).filter(reverses=entry).first()
    if done is not None:
        return done
    if entry.reverses_id is not None:
        raise Problem("conflict", "This entry takes another back; record what is right instead.")
    back = AsBuilt.objects.of(entry.business).create(
        job=entry.job,
        kind=entry.kind,
        role=entry.role,
        component=entry.component,
        length_mm=entry.length_mm,
        unit=entry.unit,
        quantity=-entry.quantity,
        location=entry.location,
        note=f"Taken back: {entry.note}"[:1_000],
        reverses=entry,
        created_by=actor.name[:160],
    )
    audit_log.record(entry.business, actor, "as_built.reversed", f"job:{entry.job.ref}", {"entry": entry.ref})
    return back


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
