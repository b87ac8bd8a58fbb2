"""Creates a sent quote from a measure and a name, for the command. A repeated call finds the same quote."""

from __future__ import annotations

from django.db import transaction
from django.utils import timezone

from quotes.jobs import services as jobs
from quotes.jobs.document_text import canonical
from quotes.jobs.measure_services import newest, save_measure, start_measure
from quotes.jobs.models import Customer, Job, JobState, MeasureVersion, Site, StoredMeasure
from quotes.quoting.content import read_content
from quotes.quoting.content_document import assemble
from quotes.quoting.json_values import JsonObject, plain
from quotes.quoting.models import Revision, RevisionState
from quotes.quoting.services import discard_draft, revise, send, start_quote
from shared.business.actors import Actor
from shared.models import Business

UNKNOWN_PLACE = "Address to be confirmed"


@transaction.atomic
def quote_measure(
    *, business: Business, document: JsonObject, customer: str, actor: Actor, override_reason: str = ""
) -> Revision:
    """Return the sent quote of a measure for a customer.

    An existing job of that customer with that label is used again. A new revision is sent only if measure or prices have
    changed. Raise InvalidDocument with every error of the measure, the catalogue or the sending.
    """
    job = _job(business, str(document.get("label") or "Fence")[:200], customer, actor)
    version = _version(job, document, actor)
    last = Revision.objects.of(business).filter(quote__job=job).order_by("-id").first()
    draft = _draft(job, version, last, actor)
    if last is not None and last.state in {RevisionState.SENT, RevisionState.ACCEPTED} and _says_the_same(draft, last):
        discard_draft(revision=draft, actor=actor)
        return last
    return send(revision=draft, actor=actor, override_reason=override_reason)


def _job(business: Business, label: str, name: str, actor: Actor) -> Job:
    rows = Job.objects.of(business).filter(customer__name=name, label=label).order_by("-id")
    job = rows.filter(state__in=(JobState.OPEN, JobState.ACCEPTED)).first()
    if job is not None:
        return job
    customer = Customer.objects.of(business).filter(name=name, archived_at=None).order_by("id").first()
    customer = customer or jobs.add_customer(business=business, actor=actor, name=name)
    site = Site.objects.of(business).filter(customer=customer).order_by("id").first()
    site = site or jobs.add_site(customer=customer, actor=actor, address=customer.address or UNKNOWN_PLACE)
    return jobs.open_job(customer=customer, site=site, label=label, actor=actor)


def _version(job: Job, document: JsonObject, actor: Actor) -> MeasureVersion:
    kept = StoredMeasure.objects.of(job.business).filter(job=job).order_by("id").first()
    if kept is not None:
        return save_measure(measure=kept, document=document, actor=actor)
    version = newest(start_measure(job=job, document=document, actor=actor))
    if version is None:
        raise RuntimeError("a measure that was started with a document has a version")
    return version


def _draft(job: Job, version: MeasureVersion, last: Revision | None, actor: Actor) -> Revision:
    if last is None:
        return start_quote(job=job, version=version, actor=actor)
    if last.state == RevisionState.DRAFT:
        last.measure_version = version
        last.save(update_fields=["measure_version"])
        return last
    return revise(quote=last.quote, actor=actor, version=version)


def _says_the_same(draft: Revision, last: Revision) -> bool:
    """Return whether the draft has the same content as the last revision."""
    if draft.measure_version_id != last.measure_version_id:
        return False
    fresh, kept = assemble(draft, now=timezone.now()), read_content(last.content)
    if fresh.difference is not None:
        return not fresh.difference.lines
    names = ("builds", "options", "payments", "tax")
    return all(canonical(plain(getattr(fresh, name))) == canonical(plain(getattr(kept, name))) for name in names)
