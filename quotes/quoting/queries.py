"""Queries for quotes and their frozen revisions.

Later apps (documents, purchasing, accounting) read a revision's content document with ``content_of`` and no other rows.
"""

from __future__ import annotations

from collections.abc import Mapping

from django.db.models import Exists, OuterRef

from quotes.jobs.models import Job, JobState
from quotes.quoting.content import Build, Content, read_content
from quotes.quoting.json_values import JsonObject, plain
from quotes.quoting.models import Party, Question, Quote, Revision, RevisionKind, RevisionState, SignedLink
from quotes.quoting.totals import Choices, build_of, read_choices
from shared.business.business_owned import OwnedQuerySet
from shared.common.problems import Problem
from shared.models import Business


def content_of(revision: Revision) -> Content:
    """Return the frozen content of a sent revision. Raise 409 for a draft."""
    if revision.state == RevisionState.DRAFT:
        raise Problem("conflict", "A draft has no frozen content. Read its preview.")
    return read_content(revision.content)


def content_and_choices(revision: Revision) -> tuple[Content, Choices]:
    """Return the frozen content of a sent revision and the choices of its parties."""
    content = content_of(revision)
    return content, read_choices(content, revision.choices)


def quotes(business: Business, asked: Mapping[str, str] | None = None) -> OwnedQuerySet[Quote]:
    """Return quotes filtered by ``job``, text in the label, or number."""
    asked, rows = asked or {}, Quote.objects.of(business)
    if job := asked.get("job", ""):
        rows = rows.filter(job__ref=job)
    if words := asked.get("q", ""):
        rows = rows.filter(label__icontains=words) | rows.filter(number__iexact=words)
    return rows


def revisions(business: Business, asked: Mapping[str, str] | None = None) -> OwnedQuerySet[Revision]:
    """Return revisions filtered by ``status``, ``kind``, ``quote`` and ``job``."""
    asked, rows = asked or {}, Revision.objects.of(business)
    for name, column, known in (("status", "state", RevisionState.values), ("kind", "kind", RevisionKind.values)):
        if value := asked.get(name, ""):
            if value not in known:
                fault = {"parameter": name, "code": name, "detail": f"Choose from: {', '.join(known)}."}
                raise Problem("invalid-parameter", errors=[fault])
            rows = rows.filter(**{column: value})
    for name, column in (("quote", "quote__ref"), ("job", "quote__job__ref")):
        if value := asked.get(name, ""):
            rows = rows.filter(**{column: value})
    return rows


def parties(revision: Revision) -> OwnedQuerySet[Party]:
    """Return the parties of a revision."""
    return Party.objects.of(revision.business).filter(revision=revision)


def live_links(revision: Revision) -> dict[int, SignedLink]:
    """Return the live link of each party, by the party's primary key."""
    rows = SignedLink.objects.of(revision.business).filter(revision=revision, revoked_at=None)
    return {row.party_id: row for row in rows}


def questions(business: Business, revision: Revision | None = None) -> OwnedQuerySet[Question]:
    """Return customers' questions, of one revision or of all."""
    rows = Question.objects.of(business)
    return rows.filter(revision=revision) if revision else rows


def agreed(job: Job) -> Revision | None:
    """Return the last accepted revision of a job: its quote or the last variation; None if there is none."""
    rows = Revision.objects.of(job.business).filter(quote__job=job, state=RevisionState.ACCEPTED)
    return rows.select_related("quote__job", "business").order_by("-closed_at", "-number").first()


def agreed_build(job: Job) -> Build | None:
    """Return the build of the last accepted revision: measure, system, take-off and costs."""
    revision = agreed(job)
    return build_of(*content_and_choices(revision)) if revision else None


def without_costs(content: Content) -> JsonObject:
    """Return a content document without costs, margins and calculations."""
    shown = dict(plain(content))
    shown["builds"] = [_uncosted(build) for build in shown["builds"]]
    shown["options"] = [_uncosted(option) for option in shown["options"]]
    if shown["difference"]:
        shown["difference"] = _uncosted(shown["difference"])
    return shown


def _uncosted(part: JsonObject) -> JsonObject:
    hidden = {name: value for name, value in part.items() if name not in {"costing", "buying"}}
    hidden["lines"] = [{key: value for key, value in line.items() if key != "cost"} for line in part["lines"]]
    if "takeoff" in hidden:
        runs = [{key: value for key, value in run.items() if key != "options"} for run in hidden["takeoff"]["runs"]]
        hidden["takeoff"] = {**hidden["takeoff"], "runs": runs}
    return hidden


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
