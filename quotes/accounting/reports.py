"""Reports as tables: a head and rows. Totals are no row: they are added up apart."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from functools import lru_cache
from typing import Any

from django.db import connection
from django.db.models import Max, QuerySet, Sum

from quotes.accounting.models import LedgerEntry, QuoteEntry, QuoteStep, ReceivedEntry
from quotes.jobs.models import Job
from quotes.purchasing.api_fields import number
from shared.business.business_owned import OwnedQuerySet
from shared.common.money import minor_digits
from shared.models import Business
from shared.spreadsheets import Cell

ZERO = Decimal(0)
CHUNK = 2_000
ENTRY_HEAD = (
    "posted_on", "kind", "order", "supplier_code", "supplier", "job", "sku", "description", "account", "tax_account", "tax_code",
    "tax_category", "tax_rate", "currency", "net", "tax", "gross",
)  # fmt: skip
ENTRY_COLUMNS = (
    "day", "kind", "order_number", "supplier_code", "supplier_name", "job_number", "sku", "description", "account",
    "tax_account", "tax_code", "tax_category", "tax_rate", "currency", "net", "tax",
)  # fmt: skip
TEXTS = frozenset(ENTRY_COLUMNS) - {"day", "tax_rate", "net", "tax"}
GROUPS: dict[str, tuple[str, ...]] = {
    "period": (),
    "supplier": ("supplier_code",),
    "job": ("job_number",),
    "account": ("account",),
    "tax": ("tax_code", "tax_category", "tax_rate"),
}


@dataclass(frozen=True, slots=True)
class DateRange:
    """From a day to a day, both included."""

    first: date
    last: date


@dataclass(frozen=True, slots=True)
class ReportTable:
    """``rows`` may be walked once. ``summed`` are the columns that have a total, of ``digits`` decimals."""

    name: str
    head: tuple[str, ...]
    rows: Iterable[Sequence[Cell]]
    summed: tuple[str, ...]
    digits: int

    def add_up(self, sums: dict[str, Decimal]) -> Iterator[Sequence[Cell]]:
        """Yield every row and add its summed columns up in ``sums``: nothing but the sums is kept in memory."""
        numbered = [(name, self.head.index(name)) for name in self.summed]
        sums.update(dict.fromkeys(self.summed, ZERO))
        for row in self.rows:
            for name, place in numbered:
                value = row[place]
                if isinstance(value, Decimal):
                    sums[name] += value
            yield row


def totals_of(table: ReportTable) -> dict[str, Decimal]:
    """Return the totals of a table by column. This walks the table's rows."""
    sums: dict[str, Decimal] = {}
    for _ in table.add_up(sums):
        pass
    return {name: money(value, table.digits) for name, value in sums.items()}


def money(value: Decimal, digits: int) -> Decimal:
    """Return an amount in minor units, with more decimals only if it has them.

    >>> money(Decimal("12.5000"), 2), money(Decimal("-0.1250"), 2), money(Decimal("30.0000"), 0)
    (Decimal('12.50'), Decimal('-0.125'), Decimal('30'))
    """
    whole = round(value, digits)
    return whole if whole == value else value.normalize()


@lru_cache(maxsize=1_000)
def _rate(value: Decimal) -> Decimal:
    return Decimal(number(value))


def ledger_entries(business: Business, span: DateRange) -> QuerySet[LedgerEntry]:
    """Return the ledger entries of a date range, by day and then in the order of posting."""
    rows = LedgerEntry.objects.of(business).filter(day__gte=span.first, day__lte=span.last)
    return rows.order_by("day", "id")


def entry_table(business: Business, span: DateRange) -> ReportTable:
    """Return the table of all ledger entries."""
    rows = ledger_entries(business, span).values_list(*ENTRY_COLUMNS).iterator(chunk_size=CHUNK)
    digits = minor_digits(business.currency)
    return ReportTable("ledger", ENTRY_HEAD, (_entry(row, digits) for row in rows), ("net", "tax", "gross"), digits)


def _entry(row: Sequence[Any], digits: int) -> list[Cell]:
    *before, rate, currency, net, tax = row
    return [*before, _rate(rate), currency, *_taxed(net, tax, digits)]


def _taxed(net: Decimal, tax: Decimal, digits: int) -> tuple[Decimal, Decimal, Decimal]:
    return money(net, digits), money(tax, digits), money(net + tax, digits)


def totals_table(business: Business, span: DateRange, by: str) -> ReportTable:
    """Order totals of a span, by period (month), supplier, job, account code, or tax code and rate."""
    columns, digits = GROUPS[by], minor_digits(business.currency)
    rows = ledger_entries(business, span)
    found = _grouped(rows, columns) if by != "period" else _by_month(rows)
    head = ("period",) if by == "period" else tuple(name.removesuffix("_number") for name in columns)
    if by == "supplier":
        head, names = (*head, "supplier_name"), _supplier_names(business, rows)
        found = {(code, names[str(code)]): sums for (code,), sums in found.items()}
    lines = [[*key, *_taxed(net, tax, digits)] for key, (net, tax) in sorted(found.items(), key=_first)]
    return ReportTable(f"order-totals-by-{by}", (*head, "net", "tax", "gross"), lines, ("net", "tax", "gross"), digits)


def _supplier_names(business: Business, rows: QuerySet[LedgerEntry]) -> dict[str, str]:
    """Return the name of each supplier in its last entry, by code."""
    last = rows.order_by().values("supplier_code").annotate(last=Max("id")).values("last")
    return dict(LedgerEntry.objects.of(business).filter(pk__in=last).values_list("supplier_code", "supplier_name"))


def _first(item: tuple[tuple[Cell, ...], Any]) -> tuple[str, ...]:
    return tuple(str(part) for part in item[0])


Sums = dict[tuple[Cell, ...], tuple[Decimal, Decimal]]


def _grouped(rows: QuerySet[LedgerEntry], columns: tuple[str, ...]) -> Sums:
    """Return sums by columns. The database adds if it adds decimals exactly; else they are added here."""
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


QUOTE_HEAD = ("step", "posted_on", "quote", "revision", "kind", "status", "job", "label", "customer")
QUOTE_COLUMNS = (
    "what", "day", "quote_number", "revision_number", "kind", "revision", "job_number", "job_label", "customer_name", "net",
    "tax", "total",
)  # fmt: skip
QUOTE_SUMS = tuple(f"{what}_{amount}" for what in ("quoted", "accepted") for amount in ("net", "tax", "total"))
QUOTE_GROUPS: dict[str, tuple[str, ...]] = {"quote": (), "period": ("day",), "job": ("job_number",)}
_FIRST_SUM = {QuoteStep.QUOTED: 0, QuoteStep.SUPERSEDED: 0, QuoteStep.ACCEPTED: 3, QuoteStep.CANCELLED: 3}
"""Index of the first amount of a step in ``QUOTE_SUMS``. Other steps have no amounts."""


def quotes_table(business: Business, span: DateRange, by: str = "quote") -> ReportTable:
    """Return quotes and acceptances of a date range, as single entries or as sums.

    A superseded revision reduces the quoted amounts, a cancelled job the accepted amounts: each on its day, or on the first
    open day after it.
    """
    entered, digits = QuoteEntry.objects.of(business), minor_digits(business.currency)
    rows = entered.filter(day__gte=span.first, day__lte=span.last)
    if by == "quote":
        return ReportTable(
            "quotes-and-acceptances",
            (*QUOTE_HEAD, *QUOTE_SUMS),
            _quoted(rows, _states(entered, span), digits),
            QUOTE_SUMS,
            digits,
        )
    found: dict[str, list[Decimal]] = {}
    columns = (*QUOTE_GROUPS[by], "what", "net", "tax", "total")
    for key, what, *amounts in rows.values_list(*columns).iterator(chunk_size=CHUNK):
        name = f"{key:%Y-%m}" if by == "period" else key
        sums = found.setdefault(name, [ZERO] * len(QUOTE_SUMS))
        for place, value in enumerate(amounts, _FIRST_SUM.get(what, 0)):
            sums[place] += value
    lines: list[list[Cell]] = [
        [name, *(money(value, digits) for value in sums)] for name, sums in sorted(found.items())
    ]
    return ReportTable(f"quotes-and-acceptances-by-{by}", (by, *QUOTE_SUMS), lines, QUOTE_SUMS, digits)


def _states(entered: OwnedQuerySet[QuoteEntry], span: DateRange) -> dict[int, str]:
    """Return the state of each revision on the last day of a span, by the revision's row id."""
    rows = entered.filter(day__lte=span.last).order_by("id").values_list("revision", "what")
    return {
        revision: "sent" if what == QuoteStep.QUOTED else what for revision, what in rows.iterator(chunk_size=CHUNK)
    }


def _quoted(rows: QuerySet[QuoteEntry], states: Mapping[int, str], digits: int) -> Iterator[Sequence[Cell]]:
    for what, *row in rows.order_by("day", "id").values_list(*QUOTE_COLUMNS).iterator(chunk_size=CHUNK):
        *before, revision, job, label, customer, net, tax, total = row
        amounts: list[Cell] = [None] * len(QUOTE_SUMS)
        if (first := _FIRST_SUM.get(what)) is not None:
            amounts[first : first + 3] = [money(value, digits) for value in (net, tax, total)]
        yield [what, *before, states[revision], job, label, customer, *amounts]


MARGIN_HEAD = (
    "job", "label", "sold", "planned_cost", "planned_margin", "planned_percent", "planned_materials", "ordered", "received",
    "as_built_cost", "as_built_margin", "as_built_percent",
)  # fmt: skip
MARGIN_SUMS = tuple(name for name in MARGIN_HEAD[2:] if not name.endswith("_percent"))


def margins_table(business: Business, span: DateRange) -> ReportTable:
    """Return the margins of each job with an acceptance or costs in a date range, as of its last day.

    Planned is what was agreed, variations included; ordered is the ledger's net, delivery in it and credits off; received is what
    came of it. As built puts what was ordered in the place of the planned materials and delivery; it is empty until something is
    ordered.
    """
    return ReportTable("margins", MARGIN_HEAD, _margins(business, span), MARGIN_SUMS, minor_digits(business.currency))


def _margins(business: Business, span: DateRange) -> Iterator[Sequence[Cell]]:
    agreed = QuoteEntry.objects.of(business).filter(day__lte=span.last).exclude(sold=0, cost=0, materials=0)
    bought = LedgerEntry.objects.of(business).filter(job__isnull=False, day__lte=span.last)
    got = ReceivedEntry.objects.of(business).filter(job__isnull=False, day__lte=span.last)
    jobs, digits = set[int](), minor_digits(business.currency)
    for rows in (agreed, bought, got):
        jobs.update(rows.filter(day__gte=span.first).values_list("job_id", flat=True).distinct())
    ordered, received = _by_job(bought, "net"), _by_job(got, "net")
    sold, cost, materials = (_by_job(agreed, name) for name in ("sold", "cost", "materials"))
    for job, number_, label in _job_labels(business, jobs, span):
        yield [
            number_,
            label,
            *_margin(sold.get(job, ZERO), cost.get(job, ZERO), digits),
            money(materials.get(job, ZERO), digits),
            money(ordered.get(job, ZERO), digits),
            money(received.get(job, ZERO), digits),
            *_as_built(sold.get(job, ZERO), cost.get(job, ZERO) - materials.get(job, ZERO), ordered.get(job), digits),
        ]


def _margin(sold: Decimal, cost: Decimal, digits: int) -> list[Cell]:
    percent = ((sold - cost) * 100 / sold).quantize(Decimal("0.1")) if sold else None
    return [money(sold, digits), money(cost, digits), money(sold - cost, digits), percent]


def _as_built(sold: Decimal, others: Decimal, ordered: Decimal | None, digits: int) -> list[Cell]:
    return [None] * 3 if ordered is None else _margin(sold, others + ordered, digits)[1:]


def _by_job(rows: QuerySet[Any], column: str) -> dict[int, Decimal]:
    found: dict[int, Decimal] = {}
    for job, value in rows.order_by().values_list("job_id", column).iterator(chunk_size=CHUNK):
        found[job] = found.get(job, ZERO) + value
    return found


def _job_labels(business: Business, jobs: set[int], span: DateRange) -> list[tuple[int, str, str]]:
    """Return jobs by number, each with its label at its last acceptance in the date range."""
    rows = QuoteEntry.objects.of(business).filter(day__lte=span.last).order_by("day", "id")
    labels = dict(rows.values_list("job_id", "job_label").iterator(chunk_size=CHUNK))
    numbers = Job.objects.of(business).order_by("number").values_list("id", "number")
    return [(job, number_, labels.get(job, "")) for job, number_ in numbers if job in jobs]
