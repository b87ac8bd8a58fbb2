"""Customers, sites and jobs: what people write down about them, with its mark on the time line."""

from __future__ import annotations

from typing import Any, TypeVar

from django.db import transaction
from django.utils import timezone

from fencing.model.faults import Fault, InvalidDocument
from quotes.jobs.hooks import job_state_changed
from quotes.jobs.models import MOVES, Customer, Job, JobEvent, JobState, Site
from shared.business.actors import Actor
from shared.common.problems import Problem
from shared.database import audit_log
from shared.database.numbering import next_number
from shared.models import Business

Row = TypeVar("Row", Customer, Site, Job)


@transaction.atomic
def add_customer(*, business: Business, actor: Actor, **details: Any) -> Customer:
    """Create a customer."""
    customer = Customer(business=business, **details)
    customer.full_clean(exclude=["business"])
    customer.save()
    audit_log.record(business, actor, "customer.added", f"customer:{customer.ref}", {"name": customer.name})
    return customer


@transaction.atomic
def change_customer(*, customer: Customer, actor: Actor, **changes: Any) -> Customer:
    """Other details; what was quoted before keeps those of its day."""
    _changed(customer, changes)
    audit_log.record(customer.business, actor, "customer.changed", f"customer:{customer.ref}", changes)
    return customer


@transaction.atomic
def archive_customer(*, customer: Customer, actor: Actor) -> Customer:
    """Out of the lists, not out of the books; twice is the same as once."""
    if customer.archived_at is None:
        customer.archived_at = timezone.now()
        customer.save(update_fields=["archived_at"])
        audit_log.record(customer.business, actor, "customer.archived", f"customer:{customer.ref}")
    return customer


@transaction.atomic
def add_site(*, customer: Customer, actor: Actor, **details: Any) -> Site:
    """Create a site of a customer."""
    site = Site(business=customer.business, customer=customer, **details)
    site.full_clean(exclude=["business", "customer"])
    site.save()
    audit_log.record(site.business, actor, "site.added", f"site:{site.ref}", {"address": site.address})
    return site


@transaction.atomic
def change_site(*, site: Site, actor: Actor, **changes: Any) -> Site:
    """Other details of a place."""
    _changed(site, changes)
    audit_log.record(site.business, actor, "site.changed", f"site:{site.ref}", changes)
    return site


@transaction.atomic
def open_job(*, customer: Customer, site: Site, label: str, actor: Actor, **details: Any) -> Job:
    """Create a job with the next job number of its business."""
    if site.customer_id != customer.pk:
        raise InvalidDocument([Fault("/site", "site.of_another", "This site belongs to another customer.")])
    business = customer.business
    job = Job(business=business, customer=customer, site=site, label=label, **details)
    job.full_clean(exclude=["business", "customer", "site", "copied_from", "number"])
    job.number = f"J{next_number(business, 'job'):04d}"
    job.save()
    note_event(job=job, kind="job.opened", text=f"Job {job.number} opened for {customer.name}.", actor=actor)
    audit_log.record(business, actor, "job.opened", f"job:{job.ref}", {"number": job.number, "label": job.label})
    return job


@transaction.atomic
def change_job(*, job: Job, actor: Actor, **changes: Any) -> Job:
    """Another label, other notes, another day."""
    _changed(job, changes)
    note_event(job=job, kind="job.changed", text=f"Changed: {', '.join(sorted(changes))}.", actor=actor)
    audit_log.record(job.business, actor, "job.changed", f"job:{job.ref}", changes)
    return job


@transaction.atomic
def move_job(*, job: Job, to: str, actor: Actor, reason: str = "") -> Job:
    """From one state to the next. 409 where there is no such way; asking for where it is already changes nothing."""
    job = Job.unscoped.select_for_update(no_key=True).get(pk=job.pk)  # unscoped: the caller's own row, locked
    if job.state == to:
        return job
    if to not in MOVES[job.state]:
        ways = ", ".join(sorted(MOVES[job.state])) or "nowhere"
        raise Problem("conflict", f"A job that is {job.state} can go to: {ways}.")
    was, job.state = job.state, JobState(to)
    job.save(update_fields=["state"])
    text = f"From {was} to {to}." + (f" {reason}" if reason else "")
    note_event(job=job, kind=f"job.{to}", text=text, actor=actor)
    job_state_changed.send(sender=Job, job=job, actor=actor)
    audit_log.record(job.business, actor, f"job.{to}", f"job:{job.ref}", {"before": was, "after": to, "reason": reason})
    return job


@transaction.atomic
def add_note(*, job: Job, text: str, actor: Actor) -> JobEvent:
    """Add a note by hand to a job's time line."""
    event = note_event(job=job, kind="note", text=text, actor=actor)
    audit_log.record(job.business, actor, "job.note", f"job:{job.ref}", {"event": event.ref})
    return event


@transaction.atomic
def note_event(*, job: Job, kind: str, text: str, actor: Actor, facts: dict[str, Any] | None = None) -> JobEvent:
    """One more thing on the time line."""
    return JobEvent.objects.of(job.business).create(
        job=job, kind=kind, text=text[:2_000], created_by=actor.name[:160], facts=facts or {}
    )


def _changed(row: Row, changes: dict[str, Any]) -> Row:
    for name, value in changes.items():
        setattr(row, name, value)
    row.full_clean(exclude=["business"])
    row.save(update_fields=list(changes))
    return row
