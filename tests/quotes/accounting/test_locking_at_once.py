"""Locking while orders are placed and cancelled, on PostgreSQL: what is locked stays, and nothing is lost or doubled."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db.models import F
from django.utils import timezone

from quotes.accounting.models import LedgerEntry, PeriodLock, Posting
from quotes.accounting.order_posting import catch_up, lock_period, post
from quotes.purchasing import services
from quotes.purchasing.models import OrderLine, SupplierOrder
from shared.models import Business
from tests.conftest import Cast
from tests.quotes.purchasing.cast import drafted, now, placed
from tests.quotes.purchasing.test_at_the_same_time import together
from tests.quotes.quoting.cast import actor_of, stock_up

pytestmark = [pytest.mark.postgres, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def yard(cast: Cast) -> Business:
    stock_up(cast.business)
    return cast.business


@pytest.mark.parametrize("round_", range(3))
def test_a_period_is_locked_while_one_order_is_placed_and_another_cancelled(yard: Business, round_: int) -> None:
    us, yesterday = actor_of(yard), timezone.localdate() - timedelta(days=1)
    old, new = placed(yard), drafted(yard)
    SupplierOrder.objects.of(yard).filter(pk=old.pk).update(placed_on=yesterday)
    together(
        lambda: lock_period(business=yard, locked_through=yesterday, actor=us),
        lambda: lock_period(business=yard, locked_through=yesterday, actor=us),
        lambda: services.place(order=new, actor=us),
        lambda: services.cancel(order=old, actor=us, reason="withdrawn"),
    )
    assert PeriodLock.objects.of(yard).count() == 1
    past = LedgerEntry.objects.of(yard).filter(day__lte=yesterday).order_by("id")
    before = list(past.values_list("id", "net"))
    catch_up(yard)
    assert list(past.values_list("id", "net")) == before
    for order in (now(old), now(new)):
        nets = LedgerEntry.objects.of(yard).filter(order=order).values_list("net", flat=True)
        assert sum(nets) == order.goods + order.delivery_fee


def test_an_order_posted_by_six_at_once_is_in_the_ledger_once(yard: Business) -> None:
    order = placed(yard)
    nets = LedgerEntry.objects.of(yard).filter(order=order).values_list("net", flat=True)
    together(*[lambda: post(order)] * 6)
    assert sum(nets.all()) == order.goods + order.delivery_fee
    # and what changed since, once
    OrderLine.objects.of(yard).filter(order=order, position=1).update(net=F("net") + 1)
    Posting.objects.of(yard).update(sequence=0)
    together(*[lambda: post(order)] * 6)
    assert sum(nets.all()) == order.goods + order.delivery_fee + 1
