"""From quotes to the books: each step of a revision once, in a period that is open."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import datetime
from decimal import Decimal
from typing import NamedTuple

from django.db import transaction
from django.db.models import Q, Sum

from quotes.accounting.models import PeriodLock, QuoteEntry, QuoteStep
from quotes.quoting.content import read_content
from quotes.quoting.models import Revision, RevisionState
from quotes.quoting.queries import content_and_choices
from quotes.quoting.totals import build_of, sums
from quotes.quoting.variation_changes import standing_lines
from shared.business.business_owned import OwnedQuerySet
from shared.common.dates import local_day
from shared.database.numbering import hold
from shared.models import Business

ZERO = Decimal(0)
FOUR = Decimal("0.0001")
_BOUGHT = frozenset({"materials", "delivery"})


@transaction.atomic
def post_quotes(business: Business) -> int:
    """Enter every step of a quote that is not in the books yet and return the number of entries. Safe to run twice."""
    hold(business)
    rows = Revision.objects.of(business).select_related("quote__job__customer").filter(sent_at__isnull=False)
    steps = sorted(_missing_steps(business, rows))
    for step in steps:
        row = rows.get(pk=step.revision)  # a content document is large: one at a time is in memory
        _enter(row, step.what, step.at, _amounts(row, step.what))
    return len(steps)


class _Step(NamedTuple):
    """A step of a revision, in the order of entry: by time, then revision by revision as each passes through them."""

    at: datetime
    number: int
    rank: int
    revision: int
    what: QuoteStep


def _missing_steps(business: Business, rows: OwnedQuerySet[Revision]) -> Iterator[_Step]:
    for rank, (what, (found, at)) in enumerate(_STEPS.items()):
        entered = QuoteEntry.objects.of(business).filter(what=what).values("revision")
        missing = rows.filter(found).exclude(pk__in=entered)
        for pk, number, moment in missing.values_list("pk", "number", at):
            yield _Step(moment, number, rank, pk, what)


_STEPS: Mapping[QuoteStep, tuple[Q, str]] = {
    QuoteStep.QUOTED: (Q(), "sent_at"),
    QuoteStep.ACCEPTED: (
        Q(state=RevisionState.ACCEPTED) | Q(state=RevisionState.CANCELLED, closed_at__isnull=False),
        "closed_at",
    ),
    QuoteStep.DECLINED: (Q(state=RevisionState.DECLINED), "closed_at"),
    QuoteStep.EXPIRED: (Q(state=RevisionState.EXPIRED), "closed_at"),
    QuoteStep.SUPERSEDED: (Q(state=RevisionState.SUPERSEDED), "closed_at"),
    QuoteStep.CANCELLED: (Q(state=RevisionState.CANCELLED), "cancelled_at"),
}
"""Which revisions have taken a step, and the column with its time."""

_REVERSES = {QuoteStep.SUPERSEDED: QuoteStep.QUOTED, QuoteStep.CANCELLED: QuoteStep.ACCEPTED}
_AMOUNTS = ("net", "tax", "total", "sold", "cost", "materials")


def _amounts(row: Revision, what: QuoteStep) -> Mapping[str, Decimal]:
    match what:
        case QuoteStep.QUOTED:
            whole = sums(read_content(row.content))
            return {"net": whole.net, "tax": whole.tax, "total": whole.total}
        case QuoteStep.ACCEPTED:
            own = {"net": row.net or ZERO, "tax": row.tax or ZERO, "total": row.total or ZERO}
            return own | _change(row)
        case QuoteStep.SUPERSEDED | QuoteStep.CANCELLED:
            entered = QuoteEntry.objects.of(row.business).filter(revision=row, what=_REVERSES[what]).first()
            return {name: -getattr(entered, name) for name in _AMOUNTS} if entered else {}
    return {}


def _enter(row: Revision, what: QuoteStep, at: datetime, amounts: Mapping[str, Decimal]) -> None:
    business, job = row.business, row.quote.job
    entry = QuoteEntry(
        business=business,
        revision=row,
        job=job,
        what=what,
        day=PeriodLock.open_day(business, local_day(business, at)),
        quote_number=row.quote.number,
        revision_number=row.number,
        kind=row.kind,
        job_number=job.number,
        job_label=job.label,
        customer_name=job.customer.name,
    )
    for name in _AMOUNTS:
        setattr(entry, name, amounts.get(name, ZERO))
    entry.save()


def _change(row: Revision) -> dict[str, Decimal]:
    """Return the change of a job's price and cost by this acceptance."""
    content, choices = content_and_choices(row)
    lines, costing = standing_lines(content, choices), build_of(content, choices).costing
    now = {
        "sold": sum((line.net for line in lines), ZERO),
        "cost": sum((line.cost for line in lines), ZERO),
        "materials": sum((line.cost for line in costing if line.category in _BOUGHT), ZERO),
    }
    before = QuoteEntry.objects.of(row.business).filter(job=row.quote.job)
    past = before.aggregate(**{f"was_{name}": Sum(name) for name in now})
    return {name: (value - (past[f"was_{name}"] or ZERO)).quantize(FOUR) for name, value in now.items()}
