"""Whatever becomes of an order, its ledger adds up to the order; the report of a locked day does not change."""

from __future__ import annotations

import contextlib
from datetime import timedelta
from decimal import Decimal as D
from typing import Any

import pytest
from django.db import transaction
from django.utils import timezone
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fencing.model.faults import InvalidDocument
from quotes.accounting.models import LedgerEntry, ReceivedEntry
from quotes.accounting.order_posting import lock_period, post
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
