"""Reports as tables: a head, rows, and a last row that is the sum of the rows above it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from django.db import connection
from django.db.models import QuerySet, Sum

from quotes.books.models import LedgerEntry
from quotes.jobs.canonical import parsed
from quotes.jobs.models import Job
from quotes.offers.content import local_day
from quotes.offers.difference import standing_lines
from quotes.offers.models import Revision, State
from quotes.orders.models import LineJob
from quotes.orders.models import State as OrderState
from quotes.orders.rows import amount, number
from shared.cells import Cell
from shared.models import Business

ZERO = Decimal(0)
CHUNK = 2_000
ENTRY_HEAD = (
    "day", "kind", "order", "supplier_code", "supplier", "job", "sku", "description", "account", "tax_code",
    "tax_category", "tax_rate", "currency", "net", "tax", "gross",
)  # fmt: skip
ENTRY_COLUMNS = (
    "day", "kind", "order_number", "supplier_code", "supplier_name", "job_number", "sku", "description", "account",
    "tax_code", "tax_category", "tax_rate", "currency", "net", "tax",
)  # fmt: skip
TEXTS = frozenset(ENTRY_COLUMNS) - {"day", "tax_rate", "net", "tax"}
GROUPS: dict[str, tuple[str, ...]] = {
    "period": (),
    "supplier": ("supplier_code", "supplier_name"),
    "job": ("job_number",),
    "account": ("account",),
    "tax": ("tax_code", "tax_category", "tax_rate"),
}
TOTAL = "Total"


@dataclass(frozen=True, slots=True)
class Span:
    """From a day to a day, both included."""

    first: date
    last: date


@dataclass(frozen=True, slots=True)
class Table:
    """``rows`` may be walked once. ``summed`` are the columns that the last row adds up."""

    name: str
    head: tuple[str, ...]
    rows: Iterable[Sequence[Cell]]
    summed: tuple[str, ...]

    def with_total(self) -> Iterator[Sequence[Cell]]:
        """Every row, then the total, added up on the way: nothing but the sums is kept in memory."""
        places = [self.head.index(name) for name in self.summed]
        sums = [ZERO] * len(places)
        for row in self.rows:
            for index, place in enumerate(places):
                value = row[place]
                sums[index] += value if isinstance(value, Decimal) else ZERO
            yield row
        yield total_row(self.head, dict(zip(self.summed, sums, strict=True)))


def total_row(head: Sequence[str], sums: dict[str, Decimal]) -> list[Cell]:
    """The last row."""
    return [TOTAL if place == 0 else money(sums[name]) if name in sums else None for place, name in enumerate(head)]


def money(value: Decimal) -> Decimal:
    """An amount in minor units."""
    return Decimal(amount(value))


def entries(business: Business, span: Span) -> QuerySet[LedgerEntry]:
    """Ledger entries of a span, in the order they were written within their days."""
    rows = LedgerEntry.objects.of(business).filter(day__gte=span.first, day__lte=span.last)
    return rows.order_by("day", "id")


def entry_table(business: Business, span: Span) -> Table:
    """Every ledger entry."""
    rows = entries(business, span).values_list(*ENTRY_COLUMNS).iterator(chunk_size=CHUNK)
    return Table("ledger", ENTRY_HEAD, (_entry(row) for row in rows), ("net", "tax", "gross"))


def _entry(row: Sequence[Any]) -> list[Cell]:
    *before, rate, currency, net, tax = row
    return [*before, Decimal(number(rate)), currency, money(net), money(tax), money(net + tax)]


def totals_table(business: Business, span: Span, by: str) -> Table:
    """Order totals of a span, by period (month), supplier, job, account code, or tax code and rate."""
    columns = GROUPS[by]
    rows = entries(business, span)
    found = _grouped(rows, columns) if by != "period" else _by_month(rows)
    head = ("period",) if by == "period" else tuple(name.removesuffix("_number") for name in columns)
    told = [[*key, money(net), money(tax), money(net + tax)] for key, (net, tax) in sorted(found.items(), key=_first)]
    return Table(f"totals-by-{by}", (*head, "net", "tax", "gross"), told, ("net", "tax", "gross"))


def _first(item: tuple[tuple[Cell, ...], Any]) -> tuple[str, ...]:
    return tuple(str(part) for part in item[0])


Sums = dict[tuple[Cell, ...], tuple[Decimal, Decimal]]


def _grouped(rows: QuerySet[LedgerEntry], columns: tuple[str, ...]) -> Sums:
    """Sums by columns: the database's where it adds decimals exactly, otherwise our own."""
    if connection.vendor == "postgresql":
        summed = rows.order_by().values_list(*columns).annotate(Sum("net"), Sum("tax"))
        return {_key(key): (net, tax) for *key, net, tax in summed}
    return _add((_key(key), net, tax) for *key, net, tax in _walk(rows, *columns))


def _by_month(rows: QuerySet[LedgerEntry]) -> Sums:
    days = _grouped(rows, ("day",))
    return _add(((f"{day:%Y-%m}",), net, tax) for (day,), (net, tax) in days.items())


def _walk(rows: QuerySet[LedgerEntry], *columns: str) -> Iterator[Any]:
    return rows.values_list(*columns, "net", "tax").iterator(chunk_size=CHUNK)


def _key(key: Sequence[Any]) -> tuple[Cell, ...]:
    return tuple(Decimal(number(part)) if isinstance(part, Decimal) else part for part in key)


def _add(rows: Iterable[tuple[tuple[Cell, ...], Decimal, Decimal]]) -> Sums:
    found: Sums = {}
    for key, net, tax in rows:
        before = found.get(key, (ZERO, ZERO))
        found[key] = before[0] + net, before[1] + tax
    return found


def _moments(business: Business, span: Span) -> tuple[datetime, datetime]:
    zone = ZoneInfo(business.time_zone)
    after = span.last + timedelta(days=1)
    return datetime.combine(span.first, time(), zone), datetime.combine(after, time(), zone)


def quotes_table(business: Business, span: Span) -> Table:
    """What was quoted (by the day it was sent) and accepted (by the day it was accepted) in a span."""
    head = ("what", "day", "quote", "revision", "kind", "job", "customer", "net", "tax", "total")
    return Table("quotes", head, _quoted(business, span), ("net", "tax", "total"))


def _quoted(business: Business, span: Span) -> Iterator[Sequence[Cell]]:
    begin, end = _moments(business, span)
    rows = Revision.objects.of(business).select_related("quote__job__customer").defer("content", "setup")
    sent = rows.filter(sent_at__gte=begin, sent_at__lt=end).order_by("sent_at", "id")
    accepted = rows.filter(state=State.ACCEPTED, closed_at__gte=begin, closed_at__lt=end).order_by("closed_at", "id")
    for what, found, at in (("quoted", sent, "sent_at"), ("accepted", accepted, "closed_at")):
        for row in found.iterator(chunk_size=CHUNK):
            job = row.quote.job
            yield [
                what,
                local_day(business, getattr(row, at)),
                row.quote.number,
                row.number,
                row.kind,
                job.number,
                job.customer.name,
                money(row.net or ZERO),
                money(row.tax or ZERO),
                money(row.total or ZERO),
            ]


def margins_table(business: Business, span: Span) -> Table:
    """Each job agreed in a span: what it is sold for, what it was to cost, what its materials were ordered for, the margin."""
    head = ("job", "label", "sold", "planned_cost", "planned_margin", "planned_percent", "ordered")
    summed = ("sold", "planned_cost", "planned_margin", "ordered")
    return Table("margins", head, _margins(business, span), summed)


def _margins(business: Business, span: Span) -> Iterator[Sequence[Cell]]:
    begin, end = _moments(business, span)
    rows = Revision.objects.of(business).filter(state=State.ACCEPTED, closed_at__gte=begin, closed_at__lt=end)
    latest: dict[int, Revision] = {}
    for row in rows.select_related("quote__job").order_by("closed_at", "number", "id"):
        latest[row.quote.job_id] = row
    for revision in latest.values():
        lines = standing_lines(parsed(revision.content), revision.choices)
        sold = sum((Decimal(line["net"]) for line in lines), ZERO)
        cost = sum((Decimal(line["cost"]) for line in lines), ZERO)
        percent = ((sold - cost) * 100 / sold).quantize(Decimal("0.1")) if sold else None
        job = revision.quote.job
        yield [
            job.number,
            job.label,
            money(sold),
            money(cost),
            money(sold - cost),
            percent,
            money(_ordered(business, job)),
        ]


def _ordered(business: Business, job: Job) -> Decimal:
    rows = LineJob.objects.of(business).filter(job=job, line__order__placed_at__isnull=False)
    nets = rows.exclude(line__order__state=OrderState.CANCELLED).values_list("net", flat=True)
    return sum(nets, ZERO)
