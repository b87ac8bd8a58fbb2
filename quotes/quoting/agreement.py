"""Rules for the page, the API and acceptance: the accepted revision of a job, and whether a sent quote is open for a response."""

from __future__ import annotations

from datetime import datetime

from django.db.models import Exists, OuterRef
from django.utils import timezone

from quotes.jobs.models import Job, JobState
from quotes.jobs.services import note_event
from quotes.quoting.models import Quote, Revision, RevisionKind, RevisionState
from shared.background.events import publish_event
from shared.business.actors import Actor
from shared.business.business_owned import OwnedQuerySet
from shared.models import Business

ENDED = frozenset({JobState.CANCELLED, JobState.CLOSED})
"""States of a job in which quotes are neither sent nor accepted."""


def agreed_revision(quote: Quote) -> Revision | None:
    """Return the last accepted revision: the quote, or its last variation."""
    rows = Revision.objects.of(quote.business).filter(quote=quote, state=RevisionState.ACCEPTED)
    return rows.order_by("-number").first()


def agreed_otherwise(quote: Quote) -> Revision | None:
    """Return the accepted revision of another quote of the same job; a job has only one accepted quote."""
    rows = Revision.objects.of(quote.business).filter(quote__job=quote.job_id, state=RevisionState.ACCEPTED)
    return rows.exclude(quote=quote.pk).select_related("quote").order_by("-closed_at").first()


def reason_closed(revision: Revision, job: Job) -> str:
    """Return the reason why a party can no longer respond to the revision, for its page; empty while it can.

    An accepted revision stays open for a party that need not accept.
    """
    if job.state in ENDED or revision.state == RevisionState.CANCELLED:
        return f"This job was {job.state if job.state in ENDED else 'cancelled'}. This quote can no longer be accepted."
    if revision.state == RevisionState.ACCEPTED:
        return ""
    if revision.state != RevisionState.SENT:
        return f"This quote is {revision.state}. Ask the business for a new one."
    if revision.kind == RevisionKind.QUOTE and agreed_otherwise(revision.quote):
        return "Another quote for this job was accepted already. Ask the business."
    return ""


def awaiting_answer(business: Business) -> OwnedQuerySet[Revision]:
    """Return sent revisions that are open for a response, without those of jobs with another accepted quote."""
    accepted = Revision.objects.of(business).filter(state=RevisionState.ACCEPTED, quote__job=OuterRef("quote__job"))
    other = Exists(accepted.exclude(quote=OuterRef("quote")))
    rows = Revision.objects.of(business).filter(state=RevisionState.SENT).exclude(quote__job__state__in=ENDED)
    return rows.exclude(other, kind=RevisionKind.QUOTE)


def cancel_quotes(job: Job, actor: Actor, now: datetime | None = None) -> None:
    """Cancel the sent and accepted revisions of a cancelled job. The caller must lock the job's row."""
    now = now or timezone.now()
    rows = Revision.objects.of(job.business).filter(
        quote__job=job, state__in=(RevisionState.SENT, RevisionState.ACCEPTED)
    )
    for revision in rows.select_related("quote").order_by("id"):
        revision.state, revision.cancelled_at = RevisionState.CANCELLED, now
        revision.save(update_fields=["state", "cancelled_at"])
        note_event(job=job, kind="quote.cancelled", text=f"{revision} cancelled.", actor=actor)
        publish_event("quote.cancelled", revision.ref, business=job.business)
