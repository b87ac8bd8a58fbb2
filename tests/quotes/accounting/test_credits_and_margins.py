"""Goods sent back bring a credit, every job bears its part of the delivery, and the report of a locked month does not change."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
import time_machine
from django.db import DatabaseError, transaction
from django.test import Client

from catalogue.models import SupplierTerms
from catalogue.queries import suppliers
from quotes.accounting.models import LedgerEntry, QuoteEntry, ReceivedEntry
from quotes.accounting.order_posting import catch_up, lock_period, post
from quotes.jobs.models import Customer, Job
from quotes.purchasing import services
from quotes.purchasing.deliveries import ReceiptData, ReceivedLine, receive, return_goods
from quotes.purchasing.draft_orders import order_for
from quotes.purchasing.models import GoodsReturn, OrderLine, SupplierOrder
from shared.business.models import Person
from shared.models import Business
from tests.conftest import Cast
from tests.quotes.accounting.test_books import FOREVER, read, rows_of, total
from tests.quotes.purchasing.cast import agreed_job, line, now, placed
from tests.quotes.quoting.cast import actor_of, stock_up

pytestmark = pytest.mark.django_db
D = Decimal


@pytest.fixture
def yard(cast: Cast) -> Business:
    stock_up(cast.business)
    return cast.business


@pytest.fixture
def keeper(cast: Cast, signed_in: Callable[[Person], Client]) -> Client:
    return signed_in(cast.bookkeeper)


def came(order: SupplierOrder, quantity: str, damaged: str = "0", docket: str = "D1") -> None:
    count = ReceiptData(docket, date(2031, 5, 6), (ReceivedLine(1, D(quantity), D(damaged)),))
    receive(order=order, count=count, actor=actor_of(order.business), more_than_docket=True)


def back(order: SupplierOrder, quantity: str) -> GoodsReturn:
    actor = actor_of(order.business)
    return return_goods(
        order=order, line=1, quantity=D(quantity), replacement_required=False, reason="spare", actor=actor
    )[1]


def credits_of(order: SupplierOrder) -> list[tuple[Decimal, Decimal]]:
    rows = LedgerEntry.objects.of(order.business).filter(order=order, kind="credit").order_by("id")
    return list(rows.values_list("net", "tax"))


def to_be_paid(order: SupplierOrder) -> tuple[Decimal, Decimal]:
    rows = list(LedgerEntry.objects.of(order.business).filter(order=order).values_list("net", "tax"))
    return sum((net for net, _ in rows), D(0)), sum((tax for _, tax in rows), D(0))


def test_what_goes_back_is_credited_with_its_tax_and_all_of_it_leaves_nothing(yard: Business) -> None:
    order = placed(yard, {"rail": "10"})  # 10 x 2.50, tax 10 percent
    SupplierOrder.objects.of(yard).filter(pk=order.pk).update(
        delivery_fee=0, total=order.goods + D("2.50"), tax=D("2.50")
    )
    came(order, "10")
    post(order)
    assert back(order, "3").credit == D("7.50")
    post(order)
    assert credits_of(order) == [(D("-7.50"), D("-0.75"))]
    assert to_be_paid(order) == (D("17.50"), D("1.75"))
    assert now(order).goods == D("25.00")  # the order states the ordered quantity
    back(order, "7")
    post(order)
    post(order)
    assert credits_of(order)[1:] == [(D("-17.50"), D("-1.75"))]
    assert to_be_paid(order) == (D(0), D(0))


def test_an_order_states_its_totals_as_ordered_and_after_credits(yard: Business, owner_client: Client) -> None:
    order = placed(yard, {"rail": "10"})  # 10 x 2.50, tax 10 percent
    came(order, "10")
    back(order, "4")
    catch_up(yard)
    after = [D("15.00"), (D("15.00") + order.delivery_fee) / 10, (D("15.00") + order.delivery_fee) * D("1.1")]
    listed = owner_client.get("/api/v1/orders").json()["items"][0]
    for document in (listed, owner_client.get(f"/api/v1/orders/{order.ref}").json()):
        totals = [D(document[name]) for name in ("goods_total", "tax", "total")]
        assert totals == [order.goods, order.tax, order.total]
        names = ("goods_after_credits", "tax_after_credits", "total_after_credits")
        assert [D(document[name]) for name in names] == after
    assert sum(to_be_paid(order)) == after[2]
    text = owner_client.get(f"/api/v1/orders/{order.ref}/document.csv").content.decode()
    sums = {row["description"]: row["net_amount"] for row in csv.DictReader(io.StringIO(text)) if not row["line"]}
    assert D(sums["Total"]) == order.total
    assert D(sums["Credits, tax included"]) == after[2] - order.total
    assert D(sums["Total after credits"]) == after[2]
    assert "Total after credits" in owner_client.get(f"/orders/{order.ref}").content.decode()


def test_a_supplier_that_was_renamed_has_one_row_with_its_last_name(yard: Business, keeper: Client) -> None:
    first = placed(yard, {"rail": "10"})
    post(first)
    suppliers(yard).filter(pk=first.supplier_id).update(name="New Name Yard")
    second = placed(yard, {"rail": "10"})
    post(second)
    rows = rows_of(keeper, f"order-totals.csv?{FOREVER}&group_by=supplier")
    assert [(row["supplier_code"], row["supplier_name"]) for row in rows] == [(first.supplier.code, "New Name Yard")]
    assert D(rows[0]["gross"]) == first.total + second.total


def test_what_came_broken_or_beyond_the_order_was_not_to_be_paid_and_brings_no_credit(yard: Business) -> None:
    order = placed(yard, {"rail": "10"})
    came(order, "13", damaged="2")
    assert (line(order, 1).over_delivered, line(order, 1).damaged) == (D(1), D(2))
    assert back(order, "3").credit == 0
    assert back(order, "1").credit == D("2.50")
    post(order)
    assert [net for net, _ in credits_of(order)] == [D("-2.50")]


def test_thirds_of_a_cent_are_not_lost_when_a_line_goes_back_piece_by_piece(yard: Business) -> None:
    order = placed(yard, {"rail": "10"})
    OrderLine.objects.of(yard).filter(order=order).update(price=D("0.3335"), net=D("3.34"))
    came(order, "10")
    given = [back(order, "1").credit for _ in range(10)]
    assert set(given) == {D("0.33"), D("0.34")}
    assert sum(given) == now(order).goods


def test_a_credit_falls_into_the_open_period_and_into_the_totals(yard: Business, keeper: Client) -> None:
    with time_machine.travel(datetime(2026, 4, 20, 3, tzinfo=UTC), tick=False):
        order = placed(yard, {"rail": "10"})
        came(order, "10")
        post(order)
    with time_machine.travel(datetime(2026, 5, 3, 3, tzinfo=UTC), tick=False):
        lock_period(business=yard, locked_through=date(2026, 4, 30), actor=actor_of(yard))
        april = read(keeper, "ledger.csv?from=2026-04-01&to=2026-04-30")
        back(order, "10")
        assert read(keeper, "ledger.csv?from=2026-04-01&to=2026-04-30") == april
        [row] = rows_of(keeper, "order-totals.csv?from=2026-05-01&to=2026-05-31")
        assert (row["net"], row["gross"]) == ("-25.00", "-27.50")


def two_jobs(yard: Business) -> tuple[list[Job], list[SupplierOrder]]:
    SupplierTerms.objects.of(yard).update(delivery_fees=[["0", "10.01"]])
    jobs = [agreed_job(yard, 12000), agreed_job(yard, 7200, 5000)]
    orders = order_for(jobs=jobs, actor=actor_of(yard))
    return jobs, [services.place(order=order, actor=actor_of(yard)) for order in orders]


def test_the_delivery_is_shared_by_the_jobs_by_what_each_takes(yard: Business) -> None:
    jobs, orders = two_jobs(yard)
    catch_up(yard)
    for order in orders:
        assert order.delivery_fee == D("10.01")
        rows = LedgerEntry.objects.of(yard).filter(order=order)
        fees = dict(rows.filter(line=None).values_list("job_id", "net"))
        assert sum(fees.values()) == order.delivery_fee
        goods = {job.pk: sum(rows.filter(job=job).exclude(line=None).values_list("net", flat=True)) for job in jobs}
        for job in jobs:  # within a cent of the exact share
            assert abs(fees.get(job.pk, D(0)) - order.delivery_fee * goods[job.pk] / order.goods) < D("0.01")


def test_the_margin_as_built_is_what_was_sold_less_what_was_ordered_and_every_other_cost(
    yard: Business, keeper: Client
) -> None:
    jobs, orders = two_jobs(yard)
    came(orders[0], str(line(orders[0], 1).quantity))
    back(orders[0], "1")
    rows = rows_of(keeper, f"margins.csv?{FOREVER}")
    assert [row["job"] for row in rows] == [job.number for job in jobs]
    for row, job in zip(rows, jobs, strict=True):
        own = LedgerEntry.objects.of(yard).filter(job=job)
        assert D(row["ordered"]) == sum(own.values_list("net", flat=True))
        assert D(row["as_built_cost"]) == D(row["planned_cost"]) - D(row["planned_materials"]) + D(row["ordered"])
        assert D(row["as_built_margin"]) == D(row["sold"]) - D(row["as_built_cost"])
        assert 0 < D(row["planned_materials"]) < D(row["planned_cost"])
    credit = GoodsReturn.objects.of(yard).get().credit
    assert total(rows, "ordered") == sum(order.goods + order.delivery_fee for order in orders) - credit
    assert total(rows, "received") == line(orders[0], 1).net - credit


REPORTS = (
    "quotes-and-acceptances.csv",
    "quotes-and-acceptances.xlsx",
    "quotes-and-acceptances.json",
    "margins.csv",
    "margins.xlsx",
    "order-totals.csv",
    "ledger.csv",
)


def test_every_report_of_a_locked_month_is_the_same_whatever_happens_later(yard: Business, keeper: Client) -> None:
    april = "from=2026-04-01&to=2026-04-30"
    with time_machine.travel(datetime(2026, 4, 20, 3, tzinfo=UTC), tick=False):
        _, orders = two_jobs(yard)
    with time_machine.travel(datetime(2026, 5, 3, 3, tzinfo=UTC), tick=False):
        lock_period(business=yard, locked_through=date(2026, 4, 30), actor=actor_of(yard))
        before = {name: read(keeper, f"{name}?{april}") for name in REPORTS}
        came(orders[0], "1")
        services.cancel(order=orders[1], actor=actor_of(yard), reason="late")
        Customer.objects.of(yard).update(name="Somebody else")
        Job.objects.of(yard).update(label="Another label")
        suppliers(yard).update(name="Another name")
        agreed_job(yard, 9600)
        catch_up(yard)
        assert {name: read(keeper, f"{name}?{april}") for name in REPORTS} == before
        # and it all stands in May
        assert read(keeper, "margins.csv?from=2026-05-01&to=2026-05-31").count(b"\r\n") == 4
        assert len(rows_of(keeper, "quotes-and-acceptances.csv?from=2026-05-01&to=2026-05-31")) == 2


def test_what_was_sent_is_entered_as_it_was_sent_even_after_options_were_chosen(yard: Business) -> None:
    agreed_job(yard)
    catch_up(yard)
    catch_up(yard)
    assert list(QuoteEntry.objects.of(yard).order_by("id").values_list("what", flat=True)) == ["quoted", "accepted"]


def test_rows_of_the_books_can_be_neither_changed_nor_deleted(yard: Business) -> None:
    order = placed(yard)
    came(order, "1")
    agreed_job(yard)
    catch_up(yard)
    for kind in (LedgerEntry, QuoteEntry, ReceivedEntry):
        assert kind.objects.of(yard).exists()
        with pytest.raises(DatabaseError), transaction.atomic():
            kind.objects.of(yard).update(day=date(2031, 1, 1) - timedelta(days=1))
