"""Allocation of an order's amounts to lines and jobs: payable, credited and received."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from quotes.jobs.models import Job
from quotes.purchasing.models import LineJob, OrderLine, SupplierOrder
from quotes.purchasing.order_totals import kept_net, net_of, shared, taxes

ZERO = Decimal(0)
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
