"""Benchmark of exports: a ledger compared with the database's COPY of its rows, a list of orders with its own JSON:
python -m tests.benchmarks.bench_exports

Needs PostgreSQL at BENCH_DATABASE_URL (a database of its own: its ledger is filled). Each way runs in a process of its own, in
turns, the best of several rounds; its peak memory is set against the same export of 1,000 rows. No time is asserted: the ratio
shows how much of the limit is used.
"""

# ruff: noqa: E402 - Django is set up before anything of ours is imported

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterable
from datetime import date
from decimal import Decimal
from pathlib import Path

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shared.settings")
os.environ.setdefault("BAYWRIGHT_DEMO", "1")
os.environ.setdefault("BAYWRIGHT_RATE_QUOTA", "1000000")
os.environ.setdefault("BAYWRIGHT_LOG_LEVEL", "WARNING")
os.environ["DATABASE_URL"] = os.environ.get("BENCH_DATABASE_URL", "")

import django

django.setup()

from django.core.handlers.wsgi import WSGIHandler
from django.core.management import call_command
from django.db import connection

from catalogue.models import SupplierPrice
from catalogue.queries import suppliers
from catalogue.spreadsheets.sample_catalogue import NewBusiness, create_business
from quotes.accounting.models import LedgerEntry
from quotes.accounting.report_files import csv_blocks, file_blocks, ledger_csv, xlsx_file
from quotes.accounting.reports import DateRange, entry_table
from quotes.purchasing.draft_orders import start_order
from quotes.purchasing.models import SupplierOrder
from shared.business.actors import SYSTEM
from shared.business.roles import BUSINESS_SCOPES
from shared.members.services import issue_key
from shared.models import Business
from tests.benchmarks.bench_lists import caller

ROWS, FEW, SHEET = 1_000_000, 1_000, 20_000
# the first thousand rows are of one day, the first twenty thousand of two
DAYS = (date(2030, 1, 1), date(2030, 1, 2), date(2030, 1, 3))
SPANS = {FEW: DateRange(DAYS[0], DAYS[0]), SHEET: DateRange(DAYS[0], DAYS[1]), ROWS: DateRange(DAYS[0], DAYS[2])}
ROUNDS = 2
COPY_BAR, PORTABLE_BAR, CSV_MB, XLSX_MB = 2.0, 8.0, 30.0, 15.0
FILL = """
INSERT INTO accounting_ledgerentry (business_id, ref, created_at, updated_at, version, order_id, kind, day, order_number,
  supplier_code, supplier_name, job_number, sku, description, account, tax_account, tax_code, tax_category, tax_rate, currency,
  net, tax)
SELECT %s, lpad(n::text, 22, '0'), now(), now(), 1, %s, 'order',
  CASE WHEN n <= 1000 THEN date '2030-01-01' WHEN n <= 20000 THEN date '2030-01-02' ELSE date '2030-01-03' END,
  'O' || lpad((n / 8)::text, 6, '0'), 'yard', 'Tamarack Yard', 'J' || lpad((n / 40)::text, 6, '0'), 'RL-' || n %% 90,
  CASE WHEN n %% 50 = 0 THEN '=SUM(A1), "guarded"' ELSE 'Rail 2250, finish ' || n %% 7 END, '5-' || n %% 12, '2-0', 'std', 'S',
  15, 'NZD', round((n %% 9973) * 0.13, 2), round((n %% 9973) * 0.0195, 2)
FROM generate_series(1, %s) AS n
"""


def filled(rows: int) -> Business:
    """Return a business with a number of ledger entries."""
    call_command("migrate", verbosity=0)
    business, _ = create_business(
        NewBusiness("Bench Fencing", "owner@bench.example", "NZ", "NZD", tax_rate=Decimal(15))
    )
    if LedgerEntry.objects.of(business).count() != rows:
        supplier = suppliers(business).order_by("code")[0]
        order, _ = SupplierOrder.objects.of(business).get_or_create(
            number="O000000", defaults={"business": business, "supplier": supplier, "currency": "NZD"}
        )
        with connection.cursor() as cursor:
            cursor.execute("TRUNCATE accounting_ledgerentry")
            cursor.execute(FILL, [business.pk, order.pk, rows])
            cursor.execute("ANALYZE accounting_ledgerentry")
    return business


# written apart from the code it judges: bare columns, and the guard in its plainest form
OWN = """
COPY (SELECT day, {texts}, tax_rate, net, tax, net + tax FROM accounting_ledgerentry
WHERE business_id = {business} AND day BETWEEN '{first}' AND '{last}' ORDER BY day, id) TO STDOUT (FORMAT csv)
"""
GUARD = "CASE WHEN {0} ~ '^[ ;]*[=+@-]' THEN chr(39) || {0} ELSE {0} END"
OWN_TEXTS = (
    "kind", "order_number", "supplier_code", "supplier_name", "job_number", "sku", "description", "account", "tax_account",
    "tax_code", "tax_category", "currency",
)  # fmt: skip


def own_copy(business: Business, span: DateRange) -> Iterable[bytes]:
    """The database's own COPY of the same rows with a guard in SQL, and nothing of ours around it."""
    texts = ", ".join(GUARD.format(name) for name in OWN_TEXTS)
    query = OWN.format(texts=texts, business=business.pk, first=span.first, last=span.last)
    with connection.cursor() as cursor, cursor.cursor.copy(query) as copy:
        yield from copy


WAYS: dict[str, Callable[[Business, DateRange], Iterable[bytes]]] = {
    "COPY": own_copy,
    "ledger.csv": ledger_csv,
    "portable csv": lambda business, span: csv_blocks(entry_table(business, span)),
    "ledger.xlsx": lambda business, span: file_blocks(xlsx_file(entry_table(business, span))),
}


def child(way: str, rows: int) -> None:
    """One export in this process: seconds, time to the first block, and peak memory in MB."""
    business = Business.objects.get(name="Bench Fencing")
    begun, first, size = time.perf_counter(), 0.0, 0
    for block in WAYS[way](business, SPANS[rows]):
        first = first or time.perf_counter() - begun
        size += len(block)
    # not ru_maxrss: that remembers the process we were forked from
    status = dict(line.split(":", 1) for line in Path("/proc/self/status").read_text().splitlines())
    peak = int(status["VmHWM"].split()[0]) / 1024
    print(json.dumps([time.perf_counter() - begun, first, peak, size]))


def measured(way: str, rows: int) -> list[float]:
    """The same in a fresh process."""
    command = [sys.executable, "-m", "tests.benchmarks.bench_exports", "--child", way, str(rows)]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    data: list[float] = json.loads(done.stdout.splitlines()[-1])
    return data


# the database's own aggregate of what the list tells, written apart from the code it judges
AGGREGATE = """
SELECT json_build_object('items', json_agg(one.document), 'next', NULL)::text FROM (
  SELECT json_build_object(
    'ref', o.ref, 'number', o.number, 'state', o.state, 'answer', o.answer, 'currency', o.currency, 'deliver_by', o.deliver_by,
    'promised_on', o.promised_on, 'placed_at', o.placed_at, 'changed', o.changed, 'updated_at', o.updated_at,
    'goods', o.goods::text, 'delivery_fee', o.delivery_fee::text, 'tax', o.tax::text, 'total', o.total::text,
    'goods_after_credits', o.goods_after_credits::text, 'tax_after_credits', o.tax_after_credits::text,
    'total_after_credits', o.total_after_credits::text,
    'supplier', json_build_object('code', s.code, 'name', s.name), 'business', json_build_object('ref', b.ref, 'name', b.name),
    'lines', (SELECT json_agg(json_build_object(
      'line', l.position, 'sku', l.sku, 'supplier_sku', l.supplier_sku, 'label', l.label, 'role', l.role, 'finish', l.finish,
      'length_mm', l.length_mm, 'unit', l.unit, 'due_on', l.due_on, 'quantity', l.quantity::text, 'received', l.received::text,
      'outstanding', l.outstanding::text, 'cancelled', l.cancelled::text, 'in_transit', l.in_transit::text,
      'price', l.price::text, 'net', l.net::text) ORDER BY l.position) FROM purchasing_orderline l
      WHERE l.order_id = o.id)) AS data
  FROM purchasing_supplierorder o JOIN catalogue_supplier s ON s.id = o.supplier_id JOIN shared_business b ON b.id = o.business_id
  WHERE o.business_id = %s ORDER BY o.id DESC LIMIT 100) AS one
"""
ORDERS, LINES, CALLS, LIST_BAR = 100, 10, 20, 4.0


def ordered(business: Business) -> None:
    """At least a hundred orders of ten lines."""
    supplier = suppliers(business).order_by("code")[0]
    skus = list(
        SupplierPrice.objects.of(business)
        .filter(supplier=supplier)
        .values_list("component__sku", flat=True)
        .distinct()[:LINES]
    )
    for _ in range(ORDERS + 1 - SupplierOrder.objects.of(business).count()):
        lines = [
            {"component": sku, "quantity": Decimal(17), "price": Decimal("12.34")} for sku in (skus * LINES)[:LINES]
        ]
        start_order(supplier=supplier, actor=SYSTEM, lines=lines)


def list_of_orders(business: Business) -> None:
    """A whole request for a hundred orders with their lines, beside the database's own JSON of the same, by the clock."""
    ordered(business)
    _, key = issue_key(name="bench", scopes=BUSINESS_SCOPES, business=business, actor=SYSTEM)
    call = caller(WSGIHandler(), f"/api/v1/orders?include=lines&page_size={ORDERS}", key)

    def aggregate() -> bytes:
        with connection.cursor() as cursor:
            cursor.execute(AGGREGATE, [business.pk])
            return bytes(str(cursor.fetchone()[0]), "utf-8")

    ours, theirs = json.loads(call())["items"], json.loads(aggregate())["items"]
    if [[line["label"] for line in item["lines"]] for item in ours] != [
        [line["label"] for line in item["lines"]] for item in theirs
    ]:
        raise RuntimeError("the two lists tell different orders")
    best = [9e9, 9e9]
    for _ in range(CALLS):
        for place, way in enumerate((call, aggregate)):
            begun = time.perf_counter()
            way()
            best[place] = min(best[place], time.perf_counter() - begun)
    mine, least = (seconds * 1000 for seconds in best)
    print(
        f"{ORDERS} orders of {LINES} lines: {mine:.1f} ms, the database's own JSON {least:.1f} ms: "
        f"{mine / least:.2f} x (bar {LIST_BAR:.0f})"
    )


def main() -> None:
    """Prints one row for each way, and the list of orders."""
    if connection.vendor != "postgresql":
        print("not run: needs PostgreSQL (set BENCH_DATABASE_URL)")
        return
    list_of_orders(filled(ROWS))
    ways = ("COPY", "ledger.csv", "portable csv")
    rounds = [[measured(way, ROWS) for way in ways] for _ in range(ROUNDS)]
    best = {way: min(item[place] for item in rounds) for place, way in enumerate(ways)}
    print(f"{ROWS} rows of the ledger, {best['ledger.csv'][3] / 1e6:.0f} MB of CSV")
    for way, bar in (("COPY", 1.0), ("ledger.csv", COPY_BAR), ("portable csv", PORTABLE_BAR)):
        seconds, first, peak, _ = best[way]
        extra = peak - measured(way, FEW)[2]
        ratio = seconds / best["COPY"][0]
        print(
            f"{way:14} {seconds:6.2f} s  {ratio:5.2f} x COPY (bar {bar:.0f})  first block after {first / seconds:5.1%}"
            f"  {extra:+6.1f} MB above {FEW} rows (bar {CSV_MB:.0f})"
        )
    seconds, _, peak, _ = measured("ledger.xlsx", SHEET)
    extra = peak - measured("ledger.xlsx", FEW)[2]
    print(
        f"{'ledger.xlsx':14} {seconds:6.2f} s for {SHEET} rows  {extra:+6.1f} MB above {FEW} rows (bar {XLSX_MB:.0f})"
    )


if __name__ == "__main__":
    if sys.argv[1:2] == ["--child"]:
        child(sys.argv[2], int(sys.argv[3]))
    else:
        main()
