"""Reading quotes and their frozen revisions.

``content_of`` is the door for every stage that comes after: PDFs, orders, books read a revision's content document and no rows.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from quotes.jobs.document_text import parsed
from quotes.jobs.models import Job
from quotes.quoting.models import Party, Question, Quote, Revision, RevisionKind, RevisionState, SignedLink
from quotes.quoting.totals import Content
from quotes.quoting.variation_changes import standing_build, standing_lines
from shared.api.problems import Problem
from shared.business.business_owned import OwnedQuerySet
from shared.models import Business


def content_of(revision: Revision) -> Content:
    """Everything a sent revision says, exactly as it was sent. 409 for a draft, which says nothing yet."""
    if revision.state == RevisionState.DRAFT:
        raise Problem("conflict", "A draft has no content yet; ask for its preview.")
    content: Content = parsed(revision.content)
    return content


def quotes(business: Business, asked: Mapping[str, str] | None = None) -> OwnedQuerySet[Quote]:
    """Quotes by ``job``, ``state`` of any revision, and words in label or number."""
    asked, rows = asked or {}, Quote.objects.of(business)
    if job := asked.get("job", ""):
        rows = rows.filter(job__ref=job)
    if words := asked.get("q", ""):
        rows = rows.filter(label__icontains=words) | rows.filter(number__iexact=words)
    return rows


def revisions(business: Business, asked: Mapping[str, str] | None = None) -> OwnedQuerySet[Revision]:
    """Revisions by ``state``, ``kind``, ``quote`` and ``job``."""
    asked, rows = asked or {}, Revision.objects.of(business)
    for name, known in (("state", RevisionState.values), ("kind", RevisionKind.values)):
        if value := asked.get(name, ""):
            if value not in known:
                fault = {"parameter": name, "code": name, "detail": f"Choose from: {', '.join(known)}."}
                raise Problem("bad-parameter", errors=[fault])
            rows = rows.filter(**{name: value})
    if quote := asked.get("quote", ""):
        rows = rows.filter(quote__ref=quote)
    if job := asked.get("job", ""):
        rows = rows.filter(quote__job__ref=job)
    return rows


def parties(revision: Revision) -> OwnedQuerySet[Party]:
    """Who pays a revision."""
    return Party.objects.of(revision.business).filter(revision=revision)


def live_links(revision: Revision) -> dict[int, SignedLink]:
    """The live link of each party, by the party's row id."""
    rows = SignedLink.objects.of(revision.business).filter(revision=revision, revoked_at=None)
    return {row.party_id: row for row in rows}


def questions(business: Business, revision: Revision | None = None) -> OwnedQuerySet[Question]:
    """Questions of customers, of one revision or of all."""
    rows = Question.objects.of(business)
    return rows.filter(revision=revision) if revision else rows


def agreed(job: Job) -> Revision | None:
    """What was last agreed on a job: its accepted offer or the last accepted variation of it."""
    rows = Revision.objects.of(job.business).filter(quote__job=job, state=RevisionState.ACCEPTED)
    return rows.select_related("quote__job", "business").order_by("-closed_at", "-number").first()


def agreed_build(job: Job) -> Mapping[str, Any] | None:
    """The build that is to be built: measure, system, take-off, costing, as frozen in what was last agreed."""
    revision = agreed(job)
    return None if revision is None else standing_build(content_of(revision), revision.choices)


def agreed_lines(job: Job) -> list[dict[str, Any]]:
    """All lines that are agreed, variations included."""
    revision = agreed(job)
    return [] if revision is None else standing_lines(content_of(revision), revision.choices)


def without_costs(content: Content) -> dict[str, Any]:
    """A content document for those who may see prices but not costs, margins and workings."""
    shown = dict(content)
    shown["builds"] = [_uncosted(build) for build in content["builds"]]
    shown["options"] = [_uncosted(option) for option in content["options"]]
    if content["difference"]:
        shown["difference"] = _uncosted(content["difference"])
    return shown


def _uncosted(part: Mapping[str, Any]) -> dict[str, Any]:
    hidden = {name: value for name, value in part.items() if name not in {"costing", "buying"}}
    hidden["lines"] = [{key: value for key, value in line.items() if key != "cost"} for line in part["lines"]]
    if "takeoff" in hidden:
        runs = [{key: value for key, value in run.items() if key != "proposals"} for run in hidden["takeoff"]["runs"]]
        hidden["takeoff"] = {**hidden["takeoff"], "runs": runs}
    return hidden
