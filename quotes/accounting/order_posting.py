"""Posts orders to the ledger: the difference between an order's amounts and its posted entries, in an open period.

The amounts of an order are allocated to its lines and jobs: payable, credited and received.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal

from django.db import transaction
from django.db.models import F, Q, QuerySet

from quotes.accounting.models import EntryKind, LedgerEntry, PeriodLock, Posting, ReceivedEntry
from quotes.accounting.quote_posting import post_quotes
from quotes.jobs.models import Job
from quotes.purchasing.models import LineJob, OrderLine, SupplierOrder
from quotes.purchasing.order_events import lines_of, locked
from quotes.purchasing.order_totals import kept_net, net_of, shared, taxes
from shared.business.actors import Actor
from shared.business.models import account, tax_account
from shared.common.dates import today
from shared.common.problems import Problem
from shared.database import audit_log
from shared.database.numbering import hold
from shared.models import Business

ZERO = Decimal(0)
FOUR = Decimal("0.0001")
Key = tuple[int | None, int | None, bool]
Shares = dict[int, list[LineJob]]


@dataclass(frozen=True, slots=True)
class OrderShare:
    """Net and tax of one line for one job; ``line`` None is the delivery fee, ``credit`` what went back."""

    line: OrderLine | None
    job: Job | None
    tax_code: str
    category: str
    rate: Decimal
    net: Decimal
    tax: Decimal = ZERO
    credit: bool = False

    @property
    def key(self) -> Key:
        return self.line.pk if self.line else None, self.job.pk if self.job else None, self.credit


@transaction.atomic
def post(order: SupplierOrder) -> int:
    """Post the changes of an order and return the number of entries. Running it again posts nothing."""
    order = locked(order)
    hold(order.business)
    if order.placed_on is None:
        return 0
    posting, new = Posting.objects.of(order.business).get_or_create(order=order, defaults={"business": order.business})
    if posting.sequence >= order.sequence:
        return 0
    lines, before = lines_of(order), _posted(order)
    expected = {part.key: part for part in parts_of(order, lines)}
    now = PeriodLock.open_day(order.business, today(order.business))
    day = PeriodLock.open_day(order.business, order.placed_on) if new else now
    kind = EntryKind.ORDER if new else EntryKind.CORRECTION
    changes, accounts = list(_changes(order, before, expected)), _accounts(order)
    for part, change in changes:
        entry = _entry(order, part, EntryKind.CREDIT if part.credit else kind, now if part.credit else day, change)
        entry.account, entry.tax_account = accounts.get(part.key[:2]) or _usual_accounts(order, part)
        entry.save()
    _post_received(order, lines, now)
    posting.sequence = order.sequence
    posting.save()
    return len(changes)


def _changes(
    order: SupplierOrder, before: Mapping[Key, tuple[Decimal, Decimal]], expected: Mapping[Key, OrderShare]
) -> Iterator[tuple[OrderShare, tuple[Decimal, Decimal]]]:
    """Return each share whose net or tax changed, with the changes: credits last, each kind by line and job."""
    for key in sorted({*before, *expected}, key=lambda item: (item[2], item[0] or 0, item[1] or 0)):
        net, tax = before.get(key, (ZERO, ZERO))
        part = expected.get(key) or _gone(order, key)
        change = (part.net - net).quantize(FOUR), (part.tax - tax).quantize(FOUR)
        if any(change):
            yield part, change


def _posted(order: SupplierOrder) -> dict[Key, tuple[Decimal, Decimal]]:
    found: dict[Key, tuple[Decimal, Decimal]] = {}
    rows = LedgerEntry.objects.of(order.business).filter(order=order)
    for line, job, kind, net, tax in rows.values_list("line_id", "job_id", "kind", "net", "tax"):
        key = line, job, kind == EntryKind.CREDIT
        before = found.get(key, (ZERO, ZERO))
        found[key] = before[0] + net, before[1] + tax
    return found


def _accounts(order: SupplierOrder) -> dict[tuple[int | None, int | None], tuple[str, str]]:
    """Return the accounts that each line was first entered on, by line and job: what changes later is entered there too."""
    rows = LedgerEntry.objects.of(order.business).filter(order=order).order_by("-id")
    columns = ("line_id", "job_id", "account", "tax_account")
    return {(line, job): (code, tax) for line, job, code, tax in rows.values_list(*columns)}


def _usual_accounts(order: SupplierOrder, part: OrderShare) -> tuple[str, str]:
    """Return a line's own account, or the business's for goods or delivery, and the one of its tax code."""
    own = part.line.account if part.line else ""
    usual = account(order.business, "goods" if part.line else "delivery")
    return own or usual, tax_account(order.business, part.tax_code)


def _gone(order: SupplierOrder, key: Key) -> OrderShare:
    """Return a share of zero for each posted entry that the order no longer has."""
    line, job, credit = key
    rows = LedgerEntry.objects.of(order.business).filter(order=order)
    rows = rows.filter(line_id=line) if line else rows.filter(line=None)
    rows = rows.filter(job_id=job) if job else rows.filter(job=None)
    rows = rows.filter(kind=EntryKind.CREDIT) if credit else rows.exclude(kind=EntryKind.CREDIT)
    last = rows.order_by("-id")[0]
    return OrderShare(last.line, last.job, last.tax_code, last.tax_category, last.tax_rate, ZERO, ZERO, credit)


def _post_received(order: SupplierOrder, lines: Sequence[OrderLine], day: date) -> None:
    before: dict[int | None, Decimal] = {}
    rows = ReceivedEntry.objects.of(order.business)
    for job, net in rows.filter(order=order).values_list("job_id", "net"):
        before[job] = before.get(job, ZERO) + net
    for to, net in received_by_job(order, lines).items():
        change = (net - before.get(to, ZERO)).quantize(FOUR)
        if change:
            rows.create(order=order, job_id=to, day=day, net=change)


def _entry(
    order: SupplierOrder, part: OrderShare, kind: EntryKind, day: date, change: tuple[Decimal, Decimal]
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
        tax_code=part.tax_code,
        tax_category=part.category,
        tax_rate=part.rate,
        currency=order.currency,
        net=change[0],
        tax=change[1],
    )


def catch_up(business: Business) -> None:
    """Post all pending changes, so that an export is complete."""
    for order in list(_behind(business)):
        post(order)
    post_quotes(business)


def _behind(business: Business) -> QuerySet[SupplierOrder]:
    behind = Q(posting=None) | Q(posting__sequence__lt=F("sequence"))
    rows = SupplierOrder.objects.of(business).filter(behind, placed_on__isnull=False)
    return rows.select_related("business").order_by("id")


@transaction.atomic
def lock_period(*, business: Business, locked_through: date, actor: Actor) -> PeriodLock:
    """Lock all days up to a day. The same day returns the same lock; an earlier or a future day is rejected."""
    # lock all rows before the business: a change of a row takes the business's lock after it
    list(_behind(business).select_for_update(no_key=True, of=("self",)))
    catch_up(business)
    hold(business)
    rows: Iterable[PeriodLock] = PeriodLock.objects.of(business).filter(locked_through=locked_through)
    for known in rows:
        return known
    last = PeriodLock.last_day(business)
    if last is not None and locked_through < last:
        raise Problem("conflict", f"All days up to {last} are locked already.")
    if locked_through >= today(business):
        raise Problem("conflict", "Enter a day before today.")
    lock = PeriodLock.objects.of(business).create(locked_through=locked_through, created_by=actor.name[:160])
    audit_log.record(
        business, actor, "period.locked", f"period:{locked_through}", {"locked_through": locked_through.isoformat()}
    )
    return lock


def parts_of(order: SupplierOrder, lines: Sequence[OrderLine]) -> list[OrderShare]:
    """Return the amounts of an order by line and job, less credits. Net and tax add up to the payable total exactly.

    The delivery fee is shared by the goods of each job. Credits do not change these shares.
    """
    jobs = _jobs(order)
    ordered = [part for line in lines for part in _split(order, line, line.net, jobs)]
    ordered += _fee(order, ordered)
    back = [
        part
        for line in lines
        if line.credited
        for part in _split(order, line, kept_net(order, line) - line.net, jobs, credit=True)
    ]
    tax = {(row.category, row.rate): row.tax for row in taxes(order, lines)}
    left = {(row.category, row.rate): row.tax for row in taxes(order, lines, kept=True)}
    less = {key: left[key] - whole for key, whole in tax.items()}
    return [*_taxed(order, ordered, tax), *_taxed(order, back, less)]


def received_by_job(order: SupplierOrder, lines: Sequence[OrderLine]) -> dict[int | None, Decimal]:
    """Return the value of received goods that were not returned, by job id, at the order's prices and before tax."""
    jobs, found = _jobs(order), dict[int | None, Decimal]()
    for line in lines:
        for part in _split(order, line, net_of(order, line.price, line.received - line.credited), jobs):
            job = part.job.pk if part.job else None
            found[job] = found.get(job, ZERO) + part.net
    return found


def _jobs(order: SupplierOrder) -> Shares:
    found: Shares = {}
    for row in LineJob.objects.of(order.business).filter(line__order=order).select_related("job").order_by("id"):
        found.setdefault(row.line_id, []).append(row)
    return found


def _split(
    order: SupplierOrder, line: OrderLine, net: Decimal, jobs: Shares, *, credit: bool = False
) -> Iterable[OrderShare]:
    whole = OrderShare(line, None, line.tax_code, line.tax_category, line.tax_rate, net, credit=credit)
    rows = jobs.get(line.pk, [])
    if not rows:
        return [whole]
    nets = shared(order, net, [row.quantity for row in rows])
    return [replace(whole, job=row.job, net=part) for row, part in zip(rows, nets, strict=True)]


def _fee(order: SupplierOrder, parts: Sequence[OrderShare]) -> list[OrderShare]:
    if not order.delivery_fee:
        return []
    whole = OrderShare(None, None, order.fee_tax_code, order.fee_tax_category, order.fee_tax_rate, order.delivery_fee)
    jobs, weights = dict[int | None, Job | None](), dict[int | None, Decimal]()
    for part in parts:
        job = part.job.pk if part.job else None
        jobs[job], weights[job] = part.job, weights.get(job, ZERO) + part.net
    if not any(weights.values()):
        return [whole]
    nets = shared(order, order.delivery_fee, list(weights.values()))
    return [replace(whole, job=job, net=net) for job, net in zip(jobs.values(), nets, strict=True) if net]


def _taxed(
    order: SupplierOrder, parts: Sequence[OrderShare], due: dict[tuple[str, Decimal], Decimal]
) -> list[OrderShare]:
    """Share the tax of each rate over its net amounts. Remaining cents go to the largest remainders."""
    found: list[OrderShare] = []
    for (category, rate), tax in due.items():
        mine = [part for part in parts if (part.category, part.rate) == (category, rate)]
        share = shared(order, tax, [abs(part.net) for part in mine])
        found += [replace(part, tax=part_tax) for part, part_tax in zip(mine, share, strict=True)]
    return found
