"""The month to the cent: every total the sum of its lines, the same bytes again, locked means locked, formulas are texts."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import openpyxl
import pytest
from django.db import DatabaseError, transaction
from django.test import Client
from django.utils import timezone

from catalogue.models import Component
from quotes.accounting.models import LedgerEntry, PeriodLock
from quotes.accounting.order_posting import catch_up, lock_period, post
from quotes.accounting.report_files import csv_blocks, ledger_csv
from quotes.accounting.reports import GROUPS, DateRange, entry_table, totals_table
from quotes.purchasing import services
from quotes.purchasing.draft_orders import order_for
from quotes.purchasing.models import SupplierOrder
from quotes.purchasing.order_responses import LineResponseData, OrderResponseData, record_response
from shared.business.models import Person
from shared.common.problems import Problem
from shared.models import Business
from tests.conftest import Cast
from tests.quotes.purchasing.cast import agreed_job, component_of, now, placed, supplier_actor
from tests.quotes.quoting.cast import actor_of, stock_up

pytestmark = pytest.mark.django_db
ALWAYS = DateRange(date(2000, 1, 1), date(2100, 1, 1))
D = Decimal
FOREVER = "from=2000-01-01&to=2100-01-01"


@pytest.fixture
def yard(cast: Cast) -> Business:
    stock_up(cast.business)
    return cast.business


@pytest.fixture
def keeper(cast: Cast, signed_in: Callable[[Person], Client]) -> Client:
    return signed_in(cast.bookkeeper)


def read(client: Client, path: str) -> bytes:
    response = client.get(f"/api/v1/accounting/{path}")
    assert response.status_code == 200, response.content
    return b"".join(response.streaming_content)  # type: ignore[attr-defined]  # a streamed answer


def rows_of(client: Client, path: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(read(client, path).decode())))


def total(rows: list[dict[str, str]], column: str) -> Decimal:
    return sum((D(row[column] or 0) for row in rows), D(0))


def two_jobs_ordered(yard: Business) -> list[SupplierOrder]:
    orders = order_for(jobs=[agreed_job(yard, 12000), agreed_job(yard, 7200)], actor=actor_of(yard))
    return [services.place(order=order, actor=actor_of(yard)) for order in orders]


def test_the_ledger_of_an_order_adds_up_to_the_order_by_net_and_tax(yard: Business) -> None:
    orders = two_jobs_ordered(yard)
    catch_up(yard)
    for order in orders:
        entries = LedgerEntry.objects.of(yard).filter(order=order)
        assert sum(entry.net for entry in entries) == order.goods + order.delivery_fee
        assert sum(entry.tax for entry in entries) == order.tax


@pytest.mark.parametrize("by", sorted(GROUPS))
def test_totals_by_anything_are_the_same_money(yard: Business, keeper: Client, by: str) -> None:
    orders = two_jobs_ordered(yard)
    rows = rows_of(keeper, f"order-totals.csv?{FOREVER}&group_by={by}")
    assert total(rows, "gross") == sum(order.total for order in orders)
    assert total(rows, "net") + total(rows, "tax") == total(rows, "gross")


def test_csv_json_and_xlsx_tell_the_same_rows(yard: Business, keeper: Client) -> None:
    two_jobs_ordered(yard)
    lines = rows_of(keeper, f"ledger.csv?{FOREVER}")
    document = json.loads(read(keeper, f"ledger.json?{FOREVER}"))
    assert set(document) == {"name", "rows"}
    assert [row["net"] for row in document["rows"]] == [row["net"] for row in lines]
    book: Any = openpyxl.load_workbook(io.BytesIO(read(keeper, f"ledger.xlsx?{FOREVER}")))
    head, *sheet = book["ledger"].iter_rows(values_only=True)
    net = head.index("net")
    assert [D(str(row[net])) for row in sheet] == [D(row["net"]) for row in lines]


REPORTS = (
    "ledger",
    "quotes-and-acceptances",
    "margins",
    *(f"order-totals?group_by={by}" for by in GROUPS),
    "quotes-and-acceptances?group_by=period",
    "quotes-and-acceptances?group_by=job",
)


@pytest.mark.parametrize("report", REPORTS)
def test_a_file_holds_data_rows_only_and_a_workbook_its_totals_on_a_second_sheet(
    yard: Business, keeper: Client, report: str
) -> None:
    two_jobs_ordered(yard)
    name, _, query = report.partition("?")
    query = f"{query}&{FOREVER}".lstrip("&")
    rows = rows_of(keeper, f"{name}.csv?{query}")
    assert rows
    assert all("Total" not in row.values() for row in rows)
    assert json.loads(read(keeper, f"{name}.json?{query}")).keys() == {"name", "rows"}
    book: Any = openpyxl.load_workbook(io.BytesIO(read(keeper, f"{name}.xlsx?{query}")))
    assert len(book.sheetnames) == 2
    data, totals = (list(book[sheet].iter_rows(values_only=True)) for sheet in book.sheetnames)
    assert len(data) == len(rows) + 1
    assert totals[0] == ("column", "total")
    for column, value in totals[1:]:
        assert D(str(value)) == total(rows, column), column


def test_the_page_shows_the_totals_of_the_files(yard: Business, keeper: Client) -> None:
    orders = two_jobs_ordered(yard)
    page = keeper.get(f"/accounting?{FOREVER}").content.decode()
    quotes = rows_of(keeper, f"quotes-and-acceptances.csv?{FOREVER}")
    sold = total(rows_of(keeper, f"margins.csv?{FOREVER}"), "sold")
    amounts = (sum((order.total for order in orders), D(0)), total(quotes, "quoted_total"), sold)
    for amount in amounts:
        assert f"{amount:,.2f}" in page


@pytest.mark.parametrize("query", ["from=2031-02-30&to=2031-03-01", "from=2031-02-02&to=2031-02-01"])
def test_the_page_names_dates_that_it_cannot_use(keeper: Client, query: str) -> None:
    response = keeper.get(f"/accounting?{query}")
    assert response.status_code == 422
    assert "Enter a first day and a last day" in response.content.decode()


def test_the_same_report_made_again_is_the_same_bytes(yard: Business, keeper: Client) -> None:
    two_jobs_ordered(yard)
    for path in ("ledger.csv", "ledger.json", "ledger.xlsx", "quotes-and-acceptances.csv", "margins.csv"):
        assert read(keeper, f"{path}?{FOREVER}") == read(keeper, f"{path}?{FOREVER}")


def test_a_price_agreed_later_is_a_correction_and_what_was_posted_stays(yard: Business, cast: Cast) -> None:
    order = placed(yard, {"rail": "10"})  # 10 x 2.50 = 25.00
    post(order)
    first = list(LedgerEntry.objects.of(yard).values_list("kind", "net"))
    response_lines = (LineResponseData(1, "change", "steel", price=D("2.80")),)
    record_response(
        order=order, response=OrderResponseData("R1", "CA", lines=response_lines), actor=supplier_actor(cast.supplier)
    )
    services.decide(order=order, actor=actor_of(yard), decisions={1: True})
    post(order)
    post(order)
    entries = list(LedgerEntry.objects.of(yard).order_by("id").values_list("kind", "net"))
    assert entries[: len(first)] == first
    assert entries[len(first) :] == [("correction", D("3.00"))]


def test_a_cancelled_order_comes_to_nothing(yard: Business) -> None:
    order = placed(yard)
    post(order)
    services.cancel(order=order, actor=actor_of(yard), reason="withdrawn")
    post(order)
    entries = LedgerEntry.objects.of(yard).filter(order=order)
    assert now(order).total == 0
    assert sum(entry.net for entry in entries) == sum(entry.tax for entry in entries) == 0


def lock_past(yard: Business) -> date:
    """Everything until yesterday is locked."""
    yesterday = timezone.localdate() - timedelta(days=1)
    lock_period(business=yard, locked_through=yesterday, actor=actor_of(yard))
    return yesterday


def test_a_locked_period_gives_the_same_bytes_whatever_happens_later(yard: Business, keeper: Client) -> None:
    order = placed(yard)
    SupplierOrder.objects.of(yard).update(placed_on=timezone.localdate() - timedelta(days=3))
    post(order)
    until = lock_past(yard)
    span = f"from=2000-01-01&to={until}"
    before = read(keeper, f"ledger.csv?{span}")
    assert before.count(b"\n") > 2
    services.cancel(order=order, actor=actor_of(yard), reason="too late")
    assert read(keeper, f"ledger.csv?{span}") == before
    assert total(rows_of(keeper, f"order-totals.csv?{FOREVER}"), "gross") == 0


def test_what_was_placed_in_a_period_locked_meanwhile_falls_into_the_open_one(yard: Business) -> None:
    until = lock_past(yard)
    order = placed(yard)
    SupplierOrder.objects.of(yard).update(placed_on=until)
    post(order)
    assert set(LedgerEntry.objects.of(yard).values_list("day", flat=True)) == {until + timedelta(days=1)}


def test_a_lock_is_made_once_never_backwards_and_never_for_a_day_to_come(yard: Business) -> None:
    until = lock_past(yard)
    lock_past(yard)
    assert PeriodLock.objects.of(yard).count() == 1
    with pytest.raises(Problem, match="are locked"):
        lock_period(business=yard, locked_through=until - timedelta(days=9), actor=actor_of(yard))
    with pytest.raises(Problem, match="before today"):
        lock_period(business=yard, locked_through=timezone.localdate() + timedelta(days=2), actor=actor_of(yard))


def test_an_entry_can_be_neither_changed_nor_deleted(yard: Business) -> None:
    post(placed(yard))
    with pytest.raises(DatabaseError), transaction.atomic():
        LedgerEntry.objects.of(yard).update(net=D(0))


EVIL = (
    "=HYPERLINK(1)",
    "+1",
    "-1+cmd",
    "@SUM(A1)",
    "\t=1",
    "＝1+1",
    ";=1",
    " =1",
    "\u00a0=1",
    'a "quoted", one',
    "a line\nfeed",
    "a return\rinside",
    " a space ",
    "plain",
)


@pytest.mark.parametrize("name", EVIL)
def test_a_name_a_spreadsheet_would_run_is_text_and_amounts_stay_numbers(
    yard: Business, keeper: Client, name: str
) -> None:
    component: Component = component_of(yard, "rail")
    component.name = name
    component.save()
    order = placed(yard, {"rail": "10"})
    post(order)
    services.cancel(order=order, actor=actor_of(yard), reason="so that there are negative amounts")
    rows = [row for row in rows_of(keeper, f"ledger.csv?{FOREVER}") if row["sku"]]
    harmless = name.startswith(("a ", " a", "plain"))
    assert {row["description"] for row in rows} == {name if harmless else f"'{name}"}
    assert {row["net"] for row in rows} == {"25.00", "-25.00"}
    book: Any = openpyxl.load_workbook(io.BytesIO(read(keeper, f"ledger.xlsx?{FOREVER}")))["ledger"]
    cells = {cell.data_type for row in book.iter_rows(min_row=2, min_col=8, max_col=8) for cell in row if cell.value}
    assert cells == {"s"}
    assert {cell.data_type for row in book.iter_rows(min_row=2, min_col=15, max_col=17) for cell in row} == {"n"}


def test_copy_and_the_portable_path_write_the_same_bytes(yard: Business) -> None:
    component = component_of(yard, "rail")
    for label in EVIL:
        component.name = label
        component.save()
        post(placed(yard, {"rail": "3"}))
    by_rows = b"".join(csv_blocks(entry_table(yard, ALWAYS)))
    assert b"".join(ledger_csv(yard, ALWAYS)) == by_rows


def test_sold_is_what_was_accepted_and_the_margin_is_what_is_left(yard: Business, keeper: Client) -> None:
    job = agreed_job(yard)
    rows = rows_of(keeper, f"quotes-and-acceptances.csv?{FOREVER}")
    assert [row["step"] for row in rows] == ["quoted", "accepted"]
    assert [row["status"] for row in rows] == ["accepted", "accepted"]
    assert total(rows, "quoted_total") == total(rows, "accepted_total") == D(rows[0]["quoted_total"])
    [margin] = [row for row in rows_of(keeper, f"margins.csv?{FOREVER}") if row["job"] == job.number]
    assert D(margin["sold"]) == D(rows[1]["accepted_net"])
    assert D(margin["planned_margin"]) == D(margin["sold"]) - D(margin["planned_cost"])
    assert margin["as_built_margin"] == ""
    for by, key in (("period", f"{timezone.localdate():%Y-%m}"), ("job", job.number)):
        [row] = rows_of(keeper, f"quotes-and-acceptances.csv?{FOREVER}&group_by={by}")
        assert (row[by], row["quoted_total"], row["accepted_net"]) == (key, rows[0]["quoted_total"], margin["sold"])


def test_nobody_sees_another_business_in_the_books(
    yard: Business, cast: Cast, signed_in: Callable[[Person], Client]
) -> None:
    post(placed(yard))
    assert rows_of(signed_in(cast.stranger), f"ledger.csv?{FOREVER}") == []
    assert signed_in(cast.crew).get(f"/api/v1/accounting/ledger.csv?{FOREVER}").status_code == 403


@pytest.mark.parametrize("query", ["", "from=2031-02-30&to=2031-03-01", "from=2031-02-02&to=2031-02-01"])
def test_days_that_are_none_are_named(yard: Business, keeper: Client, query: str) -> None:
    assert keeper.get(f"/api/v1/accounting/ledger.csv?{query}").status_code == 400


def test_totals_are_grouped_as_the_database_would(yard: Business) -> None:
    two_jobs_ordered(yard)
    catch_up(yard)
    rows = list(totals_table(yard, ALWAYS, "job").rows)
    jobs = {str(row[0]): row[1] for row in rows}
    for job, net in jobs.items():
        own = LedgerEntry.objects.of(yard).filter(job_number=job)
        assert net == sum(entry.net for entry in own)
