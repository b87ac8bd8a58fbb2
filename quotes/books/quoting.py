"""From quotes to the books: each revision once when it was sent and once when it was accepted, in a period that is open."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.db.models import Sum

from quotes.books.models import QuoteEntry, QuoteStep
from quotes.books.periods import open_day
from quotes.jobs.canonical import parsed
from quotes.offers.difference import standing_build, standing_lines
from quotes.offers.models import Revision, State
from quotes.offers.sums import NOTHING_CHOSEN, sums
from shared.business.scoping import OwnedQuerySet
from shared.dates import local_day
from shared.models import Business
from shared.numbering import hold

ZERO = Decimal(0)
FOUR = Decimal("0.0001")
_BOUGHT = frozenset({"materials", "delivery"})


@transaction.atomic
def post_quotes(business: Business) -> int:
    """Enters what was sent and accepted and is not in the books yet; says how many entries that took. Safe to run twice."""
    hold(business)
    posted = QuoteEntry.objects.of(business)
    rows = Revision.objects.of(business).select_related("quote__job__customer").filter(sent_at__isnull=False)
    sent = rows.exclude(pk__in=posted.filter(what=QuoteStep.QUOTED).values("revision"))
    accepted = rows.filter(state=State.ACCEPTED)
    accepted = accepted.exclude(pk__in=posted.filter(what=QuoteStep.ACCEPTED).values("revision"))
    count = 0
    for row in _one_by_one(rows, sent.order_by("sent_at", "id")):
        whole = sums(parsed(row.content), NOTHING_CHOSEN)
        amounts = {"net": whole.net, "tax": whole.tax, "total": whole.total}
        _enter(row, QuoteStep.QUOTED, row.sent_at, amounts)
        count += 1
    for row in _one_by_one(rows, accepted.order_by("closed_at", "number", "id")):
        own = {"net": row.net or ZERO, "tax": row.tax or ZERO, "total": row.total or ZERO}
        _enter(row, QuoteStep.ACCEPTED, row.closed_at, own | _change(row))
        count += 1
    return count


def _one_by_one(rows: OwnedQuerySet[Revision], found: OwnedQuerySet[Revision]) -> Iterator[Revision]:
    """A content document is large: one at a time is in memory."""
    for pk in list(found.values_list("pk", flat=True)):
        yield rows.get(pk=pk)


def _enter(row: Revision, what: QuoteStep, at: datetime | None, amounts: Mapping[str, Decimal]) -> None:
    business, job = row.business, row.quote.job
    if at is None:
        raise ValueError(f"{row} is {row.state} without a time")
    QuoteEntry.objects.of(business).create(
        revision=row,
        job=job,
        what=what,
        day=open_day(business, local_day(business, at)),
        quote_number=row.quote.number,
        revision_number=row.number,
        kind=row.kind,
        job_number=job.number,
        job_label=job.label,
        customer_name=job.customer.name,
        net=amounts["net"],
        tax=amounts["tax"],
        total=amounts["total"],
        sold=amounts.get("sold", ZERO),
        cost=amounts.get("cost", ZERO),
        materials=amounts.get("materials", ZERO),
    )


def _change(row: Revision) -> dict[str, Decimal]:
    """By how much this acceptance changes what the job is sold for and is to cost."""
    content: Mapping[str, Any] = parsed(row.content)
    lines = standing_lines(content, row.choices)
    costing = standing_build(content, row.choices)["costing"]
    now = {
        "sold": sum((Decimal(line["net"]) for line in lines), ZERO),
        "cost": sum((Decimal(line["cost"]) for line in lines), ZERO),
        "materials": sum((Decimal(line["cost"]) for line in costing if line["category"] in _BOUGHT), ZERO),
    }
    before = QuoteEntry.objects.of(row.business).filter(job=row.quote.job, what=QuoteStep.ACCEPTED)
    past = before.aggregate(**{f"was_{name}": Sum(name) for name in now})
    return {name: (value - (past[f"was_{name}"] or ZERO)).quantize(FOUR) for name, value in now.items()}
