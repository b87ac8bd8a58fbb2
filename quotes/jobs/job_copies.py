"""A job like an earlier one."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.db import transaction

from quotes.jobs.document_text import parsed
from quotes.jobs.measure_services import newest, start_measure
from quotes.jobs.models import Customer, Job, Site
from quotes.jobs.queries import measures
from quotes.jobs.services import add_site, open_job
from shared.business.actors import Actor


@transaction.atomic
def copy_job(
    *,
    job: Job,
    actor: Actor,
    label: str = "",
    customer: Customer | None = None,
    new_site_address: Mapping[str, Any] | None = None,
) -> Job:
    """Copy a job with its current measures. For another customer it needs one of their sites."""
    whose = customer or job.customer
    site = _site(job, whose, new_site_address, actor)
    copy = open_job(customer=whose, site=site, label=label or job.label, actor=actor, copied_from=job)
    for measure in measures(job.business).filter(job=job).order_by("id"):
        version = newest(measure)
        if version is not None:
            start_measure(job=copy, document=parsed(version.document), label=measure.label, actor=actor)
    return copy


def _site(job: Job, customer: Customer, new_site_address: Mapping[str, Any] | None, actor: Actor) -> Site:
    if new_site_address:
        return add_site(customer=customer, actor=actor, **new_site_address)
    if customer.pk == job.customer_id:
        return job.site
    old = job.site
    details = {name: getattr(old, name) for name in ("address", "city", "postcode", "country", "access_notes")}
    return add_site(customer=customer, actor=actor, **details)
