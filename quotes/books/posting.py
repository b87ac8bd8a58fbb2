"""From orders to the ledger: what an order comes to now, less what was posted of it, is posted, in a period that is open."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction

from django.db import transaction
from django.db.models import F, Q, Sum
from django.utils import timezone

from quotes.books.models import EntryKind, LedgerEntry, PeriodLock, Posting
from quotes.jobs.models import Job
from quotes.offers.content import local_day
from quotes.orders.events import lines_of, locked
from quotes.orders.models import LineJob, OrderLine, SupplierOrder
from quotes.orders.sums import taxes
from shared import audit
from shared.business.actors import Actor
from shared.models import Business
from shared.money import allocate
from shared.numbering import hold
from shared.problems import Problem

ZERO = Decimal(0)
FOUR = Decimal("0.0001")


@dataclass(frozen=True, slots=True)
class Part:
    """Net and tax of one line for one job; ``line`` None is the delivery fee."""

    line: OrderLine | None
    job: Job | None
    tax_code: str
    category: str
    rate: Decimal
    net: Decimal
    tax: Decimal

    @property
    def key(self) -> tuple[int | None, int | None]:
        return self.line.pk if self.line else None, self.job.pk if self.job else None


def parts_of(order: SupplierOrder) -> list[Part]:
    """What an order comes to, by line and job; net and tax add up to the order's own, to the cent."""
    lines = lines_of(order)
    shares: dict[int, list[LineJob]] = {}
    for row in LineJob.objects.of(order.business).filter(line__order=order).select_related("job").order_by("id"):
        shares.setdefault(row.line_id, []).append(row)
    bare: list[Part] = []
    for line in lines:
        split: list[tuple[Job | None, Decimal]] = [(row.job, row.net) for row in shares.get(line.pk, [])]
        for job, net in split or [(None, line.net)]:
            bare.append(Part(line, job, line.tax_code, line.tax_category, line.tax_rate, net, ZERO))
    if order.delivery_fee:
        category, rate = order.fee_tax_category, order.fee_tax_rate
        bare.append(Part(None, None, order.fee_tax_code, category, rate, order.delivery_fee, ZERO))
    return _taxed(order, lines, bare)


def _taxed(order: SupplierOrder, lines: list[OrderLine], bare: list[Part]) -> list[Part]:
    """Each rate's tax shared over its nets; the odd cents go to the largest remainders."""
    found: list[Part] = []
    for row in taxes(order, lines):
        mine = [part for part in bare if (part.category, part.rate) == (row.category, row.rate)]
        total = sum((part.net for part in mine), ZERO)
        share = {str(place): Fraction(part.net) / Fraction(total) for place, part in enumerate(mine)} if total else {}
        tax = allocate(row.tax, share, order.currency) if share else {}
        for place, part in enumerate(mine):
            taxed = tax.get(str(place), ZERO)
            found.append(Part(part.line, part.job, part.tax_code, part.category, part.rate, part.net, taxed))
    return found


@transaction.atomic
def post(order: SupplierOrder) -> int:
    """Brings an order's ledger up to date; says how many entries that took. Safe to run twice."""
    order = locked(order)
    hold(order.business)
    if order.placed_on is None:
        return 0
    posting, new = Posting.objects.of(order.business).get_or_create(order=order, defaults={"business": order.business})
    if posting.sequence >= order.sequence:
        return 0
    before = _posted(order)
    wanted = {part.key: part for part in parts_of(order)}
    day = open_day(order.business, order.placed_on if new else local_day(order.business, timezone.now()))
    kind = EntryKind.ORDER if new else EntryKind.CORRECTION
    count = 0
    for key in sorted({*before, *wanted}, key=lambda pair: (pair[0] or 0, pair[1] or 0)):
        net, tax = before.get(key, (ZERO, ZERO))
        part = wanted.get(key) or _gone(order, key)
        change = (part.net - net).quantize(FOUR), (part.tax - tax).quantize(FOUR)
        if any(change):
            _entry(order, part, kind, day, change).save()
            count += 1
    posting.sequence = order.sequence
    posting.save()
    return count


def _posted(order: SupplierOrder) -> dict[tuple[int | None, int | None], tuple[Decimal, Decimal]]:
    rows = LedgerEntry.objects.of(order.business).filter(order=order).values_list("line_id", "job_id")
    return {(line, job): (net, tax) for line, job, net, tax in rows.annotate(Sum("net"), Sum("tax"))}


def _gone(order: SupplierOrder, key: tuple[int | None, int | None]) -> Part:
    """What was posted and is no longer part of the order: nothing, in its old place."""
    rows = LedgerEntry.objects.of(order.business).filter(order=order).order_by("id")
    last = [row for row in rows if (row.line_id, row.job_id) == key][-1]
    return Part(last.line, last.job, last.tax_code, last.tax_category, last.tax_rate, ZERO, ZERO)


def _entry(
    order: SupplierOrder, part: Part, kind: EntryKind, day: date, change: tuple[Decimal, Decimal]
) -> LedgerEntry:
    line = part.line
    return LedgerEntry(
        business=order.business,
        order=order,
        line=line,
        job=part.job,
        kind=kind,
        day=day,
        order_number=order.number,
        supplier_code=order.supplier.code,
        supplier_name=order.supplier.name,
        job_number=part.job.number if part.job else "",
        sku=line.sku if line else "",
        description=line.label if line else "Delivery",
        account=line.account if line else "",
        tax_code=part.tax_code,
        tax_category=part.category,
        tax_rate=part.rate,
        currency=order.currency,
        net=change[0],
        tax=change[1],
    )


def open_day(business: Business, wanted: date) -> date:
    """The day itself, or the first one after the locked period."""
    until = locked_until(business)
    return wanted if until is None or wanted > until else until + timedelta(days=1)


def locked_until(business: Business) -> date | None:
    """The last locked day."""
    last: date | None = PeriodLock.objects.of(business).order_by("-until").values_list("until", flat=True).first()
    return last


def catch_up(business: Business) -> None:
    """Posts whatever the outbox has not come to yet, so that an export never lags behind."""
    behind = Q(posting=None) | Q(posting__sequence__lt=F("sequence"))
    rows = SupplierOrder.objects.of(business).filter(behind, placed_on__isnull=False)
    for order in rows.select_related("business").order_by("id").iterator(chunk_size=200):
        post(order)


@transaction.atomic
def lock_period(*, business: Business, until: date, actor: Actor) -> PeriodLock:
    """Makes everything up to a day final. The same day again is the same lock; an earlier or coming day is refused."""
    catch_up(business)
    hold(business)
    rows: Iterable[PeriodLock] = PeriodLock.objects.of(business).filter(until=until)
    for known in rows:
        return known
    last = locked_until(business)
    if last is not None and until < last:
        raise Problem("conflict", f"Everything is locked until {last} already.")
    if until >= local_day(business, timezone.now()):
        raise Problem("conflict", "A period is locked when it is over; name a day before today.")
    lock = PeriodLock.objects.of(business).create(until=until, who=actor.name[:160])
    audit.record(business, actor, "books.locked", f"period:{until}", {"until": until.isoformat()})
    return lock
