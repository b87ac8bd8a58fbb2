"""Queries for quotes and their frozen revisions.

Later apps (documents, purchasing, accounting) read a revision's content document with ``content_of`` and no other rows.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from quotes.jobs.document_text import parsed
from quotes.jobs.models import Job
from quotes.quoting.models import Party, Question, Quote, Revision, RevisionKind, RevisionState, SignedLink
from quotes.quoting.totals import Content
from quotes.quoting.variation_changes import standing_build, standing_lines
from shared.business.business_owned import OwnedQuerySet
from shared.common.problems import Problem
from shared.models import Business


def content_of(revision: Revision) -> Content:
    """Return the frozen content of a sent revision. Raise 409 for a draft."""
    if revision.state == RevisionState.DRAFT:
        raise Problem("conflict", "A draft has no frozen content. Read its preview.")
    content: Content = parsed(revision.content)
    return content


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
    for name, column, known in (
        ("status", "state", RevisionState.values),
        ("kind", "kind", RevisionKind.values),
    ):
        if value := asked.get(name, ""):
            if value not in known:
                fault = {"parameter": name, "code": name, "detail": f"Choose from: {', '.join(known)}."}
                raise Problem("invalid-parameter", errors=[fault])
            rows = rows.filter(**{column: value})
    if quote := asked.get("quote", ""):
        rows = rows.filter(quote__ref=quote)
    if job := asked.get("job", ""):
        rows = rows.filter(quote__job__ref=job)
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


def agreed_build(job: Job) -> Mapping[str, Any] | None:
    """Return the build of the last accepted revision: measure, system, take-off and costs."""
    revision = agreed(job)
    return None if revision is None else standing_build(content_of(revision), revision.choices)


def agreed_lines(job: Job) -> list[dict[str, Any]]:
    """Return all accepted lines, including variations."""
    revision = agreed(job)
    return [] if revision is None else standing_lines(content_of(revision), revision.choices)


def without_costs(content: Content) -> dict[str, Any]:
    """Return a content document without costs, margins and calculations."""
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
        runs = [{key: value for key, value in run.items() if key != "options"} for run in hidden["takeoff"]["runs"]]
        hidden["takeoff"] = {**hidden["takeoff"], "runs": runs}
    return hidden
