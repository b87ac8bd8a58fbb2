"""The ledger adds up to the orders, whatever becomes of them, also with a hundred thousand entries."""

from __future__ import annotations

import contextlib
import csv
import io
import random
import re
from collections import defaultdict
from datetime import date, timedelta
from decimal import Decimal
from decimal import Decimal as D
from functools import cache, lru_cache
from typing import Any

import pytest
from django.db import connection, transaction
from django.utils import timezone
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fencing.model.faults import InvalidDocument
from quotes.accounting.models import LedgerEntry, ReceivedEntry
from quotes.accounting.order_posting import lock_period, post
from quotes.accounting.report_files import csv_blocks, ledger_csv
from quotes.accounting.reports import GROUPS, DateRange, totals_of, totals_table
from quotes.purchasing import services
from quotes.purchasing.deliveries import ReceiptData, ReceivedLine, receive
from quotes.purchasing.draft_orders import order_for
from quotes.purchasing.models import OrderLine, SupplierOrder
from shared.common.problems import Problem
from shared.models import Business
from tests.conftest import Cast
from tests.quotes.purchasing.cast import agreed_job, placed, supplier_actor
from tests.quotes.purchasing.test_reconciliation import act, cents, steps
from tests.quotes.quoting.cast import actor_of, stock_up

pytestmark = pytest.mark.django_db


@pytest.fixture
def yard(cast: Cast) -> Business:
    stock_up(cast.business)
    return cast.business


def ledger(business: Business, order: SupplierOrder) -> list[tuple[Any, ...]]:
    rows = LedgerEntry.objects.of(business).filter(order=order).order_by("id")
    return list(rows.values_list("day", "line_id", "net", "tax"))


@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(story=st.lists(steps, min_size=1, max_size=8), locks_after=st.integers(0, 8))
def test_the_ledger_is_the_order_to_the_cent_and_a_locked_day_keeps_its_entries(
    yard: Business, cast: Cast, story: list[tuple[Any, ...]], locks_after: int
) -> None:
    us, them = actor_of(yard), supplier_actor(cast.supplier)
    yesterday = timezone.localdate() - timedelta(days=1)
    order = placed(yard, {"rail": "10", "hinge": "8"})
    receive(order=order, count=ReceiptData("D", yesterday, (ReceivedLine(1, D(7), D(1)),)), actor=us)
    SupplierOrder.objects.of(yard).filter(pk=order.pk).update(placed_on=yesterday)
    locked: list[tuple[Any, ...]] | None = None
    for number, step in enumerate(story):
        if number == locks_after:
            lock_period(business=yard, locked_through=yesterday, actor=us)
            locked = [row for row in ledger(yard, order) if row[0] <= yesterday]
        try:
            with transaction.atomic():
                act(order, number, step, us, them)
        except (Problem, InvalidDocument):
            pass
        post(order)
        order.refresh_from_db()
        rows = ledger(yard, order)
        # by another way than the ledger's: what is left of each line at its price, and tax on the sum
        lines = OrderLine.objects.of(yard).filter(order=order)
        left = sum((cents((row.quantity - row.cancelled - row.credited) * row.price) for row in lines), D(0))
        assert sum(row[2] for row in rows) == left + order.delivery_fee
        assert sum(row[3] for row in rows) == cents((left + order.delivery_fee) * D("0.1"))
        received = sum((cents((row.received - row.credited) * row.price) for row in lines), D(0))
        assert sum(ReceivedEntry.objects.of(yard).filter(order=order).values_list("net", flat=True)) == received
        if locked is not None:
            assert [row for row in rows if row[0] <= yesterday] == locked


@settings(max_examples=3, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    lengths=st.lists(st.integers(3_000, 15_000), min_size=1, max_size=2),
    stories=st.lists(st.lists(steps, max_size=6), min_size=2, max_size=2),
)
def test_whatever_fences_are_ordered_every_job_bears_its_part_and_all_parts_are_the_whole(
    yard: Business, cast: Cast, lengths: list[int], stories: list[list[tuple[Any, ...]]]
) -> None:
    us, them = actor_of(yard), supplier_actor(cast.supplier)
    jobs = [agreed_job(yard, length) for length in lengths]
    orders = order_for(jobs=jobs, actor=us)
    for order, story in zip(orders, stories, strict=False):
        services.place(order=order, actor=us)
        receive(order=order, count=ReceiptData("D", timezone.localdate(), (ReceivedLine(1, D(2)),)), actor=us)
        for number, step in enumerate(story, 1):
            with contextlib.suppress(Problem, InvalidDocument), transaction.atomic():
                act(order, number, step, us, them)
        post(order)
        order.refresh_from_db()
        lines = list(OrderLine.objects.of(yard).filter(order=order))
        assert all(row.quantity == row.received + row.outstanding + row.cancelled for row in lines)
        left = sum((cents((row.quantity - row.cancelled - row.credited) * row.price) for row in lines), D(0))
        entries = LedgerEntry.objects.of(yard).filter(order=order)
        nets = [sum(entries.filter(job=job).values_list("net", flat=True), D(0)) for job in jobs]
        assert sum(nets) == left + order.delivery_fee
        assert not entries.filter(job=None).exists()


ENTRIES = 100_000
SPAN = DateRange(date(2031, 1, 1), date(2031, 12, 31))
# columns of the groups in the database, and in the ledger's own export
COLUMNS = {
    "supplier": ("supplier_code",),
    "job": ("job_number",),
    "account": ("account",),
    "tax": ("tax_code", "tax_category", "tax_rate"),
}
HEADS = {
    "supplier": ("supplier_code",),
    "job": ("job",),
    "account": ("account",),
    "tax": ("tax_code", "tax_category", "tax_rate"),
}


def fill(business: Business) -> None:
    """Entries of every sort, some before and after the span, many that no binary fraction holds."""
    order, chance, begin = placed(business), random.Random(20310101), SPAN.first - timedelta(days=9)  # noqa: S311 - the same rows every time
    usual = LedgerEntry(business=business, order=order, kind="order", currency="EUR", description="Rail", sku="rail")
    columns = [str(field.column) for field in LedgerEntry._meta.fields]
    names = [name for name in columns if name not in {"id", "line_id", "job_id"}]
    fixed = {name: getattr(usual, name) for name in names}
    rows = []
    for number in range(ENTRIES):
        supplier, job, rate = (chance.randrange(some) for some in (7, 40, 3))
        data = {
            **fixed,
            "ref": f"large-{number}",
            "day": begin + timedelta(days=chance.randrange(383)),
            "order_number": f"O{number:06d}",
            "supplier_code": f"s{supplier}",
            "supplier_name": f"Yard {supplier}",
            "job_number": f"J{job:04d}" if job else "",
            "account": f"{4000 + job % 4}",
            "tax_code": f"T{rate}",
            "tax_category": "S",
            "tax_rate": ("5", "12.5", "15")[rate],
            "net": f"{Decimal(chance.randrange(-500_000, 9_000_000)).scaleb(-chance.choice([2, 2, 4])):f}",
            "tax": f"{Decimal(chance.randrange(-900, 90_000)).scaleb(-2):f}",
        }
        rows.append([data[name] for name in names])
    holes = ", ".join(["%s"] * len(names))
    with connection.cursor() as cursor:
        cursor.executemany(f"INSERT INTO accounting_ledgerentry ({', '.join(names)}) VALUES ({holes})", rows)  # noqa: S608 - our own names


def by_sql(business: Business, columns: tuple[str, ...]) -> dict[tuple[str, ...], tuple[int, int]]:
    """Sums in ten-thousandths, which every database adds exactly."""
    whole = "CAST(SUM(CAST(ROUND({0} * 10000) AS BIGINT)) AS BIGINT)"
    query = (
        f"SELECT {', '.join(columns)}, {whole.format('net')}, {whole.format('tax')} FROM accounting_ledgerentry "  # noqa: S608 - as above
        f"WHERE business_id = %s AND day BETWEEN %s AND %s GROUP BY {', '.join(columns)}"
    )
    with connection.cursor() as cursor:
        cursor.execute(query, [business.pk, SPAN.first, SPAN.last])
        return {tuple(_word(part) for part in key): (net, tax) for *key, net, tax in cursor.fetchall()}


def by_hand(rows: list[dict[str, str]], heads: tuple[str, ...]) -> dict[tuple[str, ...], tuple[int, int]]:
    """The same from the exported entries, read as text and added as whole numbers."""
    found: dict[tuple[str, ...], list[int]] = defaultdict(lambda: [0, 0])
    for row in rows:
        sums = found[tuple(_word(row[head]) for head in heads)]
        sums[0] += _units(row["net"])
        sums[1] += _units(row["tax"])
    return {key: (net, tax) for key, (net, tax) in found.items()}


@lru_cache
def _word(value: object) -> str:
    """A number by its value, however it is written."""
    text = str(value)
    return f"{Decimal(text).normalize():f}" if re.fullmatch(r"\d+(\.\d+)?", text) else text


@cache
def _units(text: str) -> int:
    whole, _, part = text.removeprefix("-").partition(".")
    return (-1 if text.startswith("-") else 1) * int(whole + part.ljust(4, "0"))


def test_every_total_of_a_large_ledger_is_what_two_others_add_up_to(cast: Cast) -> None:
    stock_up(cast.business)
    fill(cast.business)
    text = b"".join(ledger_csv(cast.business, SPAN)).decode()
    rows = list(csv.DictReader(io.StringIO(text, newline="")))
    assert (
        len(rows) == LedgerEntry.objects.of(cast.business).filter(day__range=(SPAN.first, SPAN.last)).count() > 90_000
    )
    whole = [sum(_units(row[name]) for row in rows) for name in ("net", "tax", "gross")]
    shown = totals_of(totals_table(cast.business, SPAN, "tax"))
    assert [_units(f"{value:f}") for value in shown.values()] == whole
    assert whole[0] + whole[1] == whole[2]
    assert set(COLUMNS) == set(HEADS) == set(GROUPS) - {"period"}
    for by, columns in COLUMNS.items():
        data = reported_by(cast.business, by, len(columns))
        assert data == by_sql(cast.business, columns) == by_hand(rows, HEADS[by]), by
    months = by_hand([{**row, "period": row["posted_on"][:7]} for row in rows], ("period",))
    assert len(months) == 12
    assert reported_by(cast.business, "period", 1) == months


def reported_by(business: Business, by: str, width: int) -> dict[tuple[str, ...], tuple[int, int]]:
    """Return what the report states, by its groups."""
    rows = csv.DictReader(io.StringIO(b"".join(csv_blocks(totals_table(business, SPAN, by))).decode(), newline=""))
    keys = list(rows.fieldnames or [])[:width]
    return {tuple(_word(row[key]) for key in keys): (_units(row["net"]), _units(row["tax"])) for row in rows}
