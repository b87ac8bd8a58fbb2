"""Reading customers, jobs, measures and their histories."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.db.models import Q

from quotes.jobs.models import AsBuilt, Customer, Job, JobEvent, JobState, MeasureVersion, Site, StoredMeasure
from shared.business.business_owned import OwnedQuerySet
from shared.common.problems import Problem
from shared.models import Business


def customers(
    business: Business, asked: Mapping[str, str] | None = None, *, archived: bool = False
) -> OwnedQuerySet[Customer]:
    """Return customers. ``q`` searches name, e-mail and address; ``archived`` includes archived customers."""
    asked, rows = asked or {}, Customer.objects.of(business)
    if not archived:
        rows = rows.filter(archived_at=None)
    if words := asked.get("q", ""):
        rows = rows.filter(Q(name__icontains=words) | Q(email__icontains=words) | Q(address__icontains=words))
    return rows


def sites(customer: Customer) -> OwnedQuerySet[Site]:
    """Return the sites of a customer."""
    return Site.objects.of(customer.business).filter(customer=customer)


def jobs(business: Business, asked: Mapping[str, str] | None = None) -> OwnedQuerySet[Job]:
    """Return jobs by ``status``, ``customer`` and words in label, number or address."""
    asked, rows = asked or {}, Job.objects.of(business)
    if state := asked.get("status", ""):
        if state not in JobState.values:
            detail = f"Choose from: {', '.join(JobState.values)}."
            raise Problem("invalid-parameter", errors=[{"parameter": "status", "code": "status", "detail": detail}])
        rows = rows.filter(state=state)
    if customer := asked.get("customer", ""):
        rows = rows.filter(customer__ref=customer)
    if words := asked.get("q", ""):
        found = Q(label__icontains=words) | Q(number__iexact=words) | Q(site__address__icontains=words)
        rows = rows.filter(found | Q(customer__name__icontains=words))
    return rows


def events(job: Job) -> OwnedQuerySet[JobEvent]:
    """Return the history of a job."""
    return JobEvent.objects.of(job.business).filter(job=job)


def measures(business: Business) -> OwnedQuerySet[StoredMeasure]:
    """All measures."""
    return StoredMeasure.objects.of(business)


def versions(business: Business) -> OwnedQuerySet[MeasureVersion]:
    """All valid versions of all measures."""
    return MeasureVersion.objects.of(business)


def as_built(job: Job) -> OwnedQuerySet[AsBuilt]:
    """Return the as-built entries of a job."""
    return AsBuilt.objects.of(job.business).filter(job=job)


def used_by_role(job: Job) -> dict[str, Any]:
    """Quantity used less what came back, by role; entries that were taken back cancel out."""
    used: dict[str, Any] = {}
    for kind, role, quantity in as_built(job).exclude(role="").values_list("kind", "role", "quantity"):
        if kind != "changed":
            used[role] = used.get(role, 0) + (quantity if kind == "used" else -quantity)
    return used


def is_returning(job: Job) -> bool:
    """Say whether the job's customer accepted another job before, one that was not cancelled."""
    agreed = (JobState.ACCEPTED, JobState.BUILT, JobState.CLOSED)
    return Job.objects.of(job.business).filter(customer=job.customer_id, state__in=agreed).exclude(pk=job.pk).exists()
