"""Benchmark of catalogue imports, from the upload to the stored report: python -m tests.benchmarks.bench_imports

Components, offers and price rules as CSV and XLSX, none of them stored before. Each file is imported by a process of its own,
which does what the worker does and rolls it back; its peak memory is set against the same file of 1,000 rows. By the clock and
in processor time, on SQLite or on PostgreSQL at BENCH_DATABASE_URL. No time is asserted: what is over the bar is marked, by its
processor time, because a busy machine only makes one wait.
"""

# ruff: noqa: E402 - Django is set up before anything of ours is imported

from __future__ import annotations

import csv
import io
import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterable, Iterator
from decimal import Decimal
from pathlib import Path

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shared.settings")
os.environ.setdefault("BAYWRIGHT_DEMO", "1")
os.environ.setdefault("BAYWRIGHT_LOG_LEVEL", "WARNING")
if __name__ == "__main__" and sys.argv[1:2] != ["--child"]:
    _FOLDER = tempfile.TemporaryDirectory(prefix="bench-imports-")
    os.environ["DATABASE_URL"] = os.environ.get("BENCH_DATABASE_URL", f"sqlite:///{_FOLDER.name}/bench.sqlite3")

import django

django.setup()

from django.core.management import call_command
from django.db import transaction

from catalogue.models import Component, Import
from catalogue.queries import suppliers
from catalogue.rules.codes import ImportKind
from catalogue.spreadsheets import import_jobs
from catalogue.spreadsheets.sample_catalogue import NewBusiness, create_business
from shared.business.actors import SYSTEM
from shared.models import Business
from shared.spreadsheets import Workbook

ROWS, FEW = 20_000, 1_000
SECONDS_BAR, MEMORY_BAR = 20.0, 100.0
SheetRow = tuple[str | int | Decimal, ...]


def _components(business: Business, rows: int) -> Iterator[SheetRow]:
    yield "sku", "name", "role", "length_mm", "sale_unit", "pack_size", "mass_kg"
    for n in range(rows):
        yield f"N-{n}", f"Rail {1800 + n % 3000}", "rail", 1800 + n % 3000, "C62", 1 + n % 12, Decimal(n % 900) / 100


def _offers(business: Business, rows: int) -> Iterator[SheetRow]:
    supplier = suppliers(business).order_by("code")[0].code
    yield "supplier", "sku", "supplier_sku", "price", "price_breaks", "pack_size", "valid_from"
    for n in range(rows):
        yield supplier, f"B-{n}", f"Y{n}", Decimal(500 + n % 9000) / 100, "10:4.50 50:4.25", 1, "2041-01-01"


def _price_rules(business: Business, rows: int) -> Iterator[SheetRow]:
    yield "kind", "applies_to", "value", "label", "valid_from"
    for n in range(rows):
        yield "hire", f"x{n}", Decimal(n % 9000) / 100, f"Hire of auger {n}", "2041-01-01"


KINDS: dict[ImportKind, Callable[[Business, int], Iterable[SheetRow]]] = {
    ImportKind.COMPONENTS: _components,
    ImportKind.SUPPLIER_PRICES: _offers,
    ImportKind.PRICE_RULES: _price_rules,
}


def as_csv(rows: Iterable[SheetRow]) -> bytes:
    """The rows as a file of comma-separated values."""
    text = io.StringIO()
    csv.writer(text).writerows(rows)
    return text.getvalue().encode()


def as_xlsx(rows: Iterable[SheetRow]) -> bytes:
    """The rows as a workbook."""
    file = io.BytesIO()
    book = Workbook(file, "rows")
    for row in rows:
        book.add(row)
    book.close()
    return file.getvalue()


FORMS: dict[str, Callable[[Iterable[SheetRow]], bytes]] = {"csv": as_csv, "xlsx": as_xlsx}


def ready() -> None:
    """A business with as many components as there will be offers."""
    call_command("migrate", verbosity=0)
    business, _ = create_business(
        NewBusiness("Bench Fencing", "owner@bench.example", "NZ", "NZD", tax_rate=Decimal(15))
    )
    rows = Component.objects.of(business)
    if not rows.filter(sku="B-0").exists():
        rows.bulk_create(
            [Component(business=business, sku=f"B-{n}", name=f"Rail {n}", role="cap") for n in range(ROWS)],
            batch_size=1_000,
        )


def child(kind: ImportKind, path: str) -> None:
    """Import one file in this process: return seconds by the clock, of the processor, and peak memory in MB."""
    business, content = Business.objects.get(name="Bench Fencing"), Path(path).read_bytes()
    begun, spent = time.perf_counter(), time.process_time()
    with transaction.atomic():
        asked = import_jobs.ask(business=business, actor=SYSTEM, kind=kind, content=content, file_name=Path(path).name)
        asked = Import.objects.of(business).get(pk=asked.pk)
        done = import_jobs.finish(asked, import_jobs.prepare(asked), SYSTEM)
        seconds, spent = time.perf_counter() - begun, time.process_time() - spent
        if done.state != "done" or done.report["added"] != done.rows_total:
            raise RuntimeError(f"{path}: {done.state} {json.dumps(done.report)[:500]}")
        transaction.set_rollback(True)
    status = dict(line.split(":", 1) for line in Path("/proc/self/status").read_text().splitlines())
    print(json.dumps([seconds, spent, int(status["VmHWM"].split()[0]) / 1024]))


def measured(kind: ImportKind, form: str, content: bytes) -> list[float]:
    """The same in a fresh process."""
    with tempfile.NamedTemporaryFile(suffix=f".{form}") as file:
        file.write(content)
        file.flush()
        command = [sys.executable, "-m", "tests.benchmarks.bench_imports", "--child", kind.value, file.name]
        done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode:
        raise RuntimeError(done.stderr[-2000:])
    data: list[float] = json.loads(done.stdout.splitlines()[-1])
    return data


def main() -> None:
    """Prints one row for each kind and form."""
    ready()
    business = Business.objects.get(name="Bench Fencing")
    print(
        f"{'import':<18}{'rows':>7}{'clock':>10}{'processor':>11}{'bar':>6}{'memory':>9}{'of it by rows':>15}{'bar':>8}"
    )
    for kind, rows in KINDS.items():
        for form, written in FORMS.items():
            *_, least = measured(kind, form, written(rows(business, FEW)))
            seconds, spent, peak = measured(kind, form, written(rows(business, ROWS)))
            over = "  over the bar" if spent > SECONDS_BAR or peak - least > MEMORY_BAR else ""
            row = f"{kind.value + ' ' + form:<18}{ROWS:>7}{seconds:>8.1f} s{spent:>9.1f} s{SECONDS_BAR:>4.0f} s"
            print(f"{row}{peak:>6.0f} MB{peak - least:>12.0f} MB{MEMORY_BAR:>5.0f} MB{over}")


if __name__ == "__main__":
    if sys.argv[1:2] == ["--child"]:
        child(ImportKind(sys.argv[2]), sys.argv[3])
    else:
        main()
