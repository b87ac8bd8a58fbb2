"""Tests of the kept purchase options of a process: after any write they are read again."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal

import pytest
from django.db import transaction
from django.utils import timezone

from catalogue.engine import engine_input
from catalogue.models import Component, Finish, Supplier, SupplierPrice
from shared.models import Business
from tests.quotes.quoting.cast import stock_up

pytestmark = pytest.mark.django_db


@pytest.fixture
def stocked(business: Business) -> Business:
    stock_up(business)
    return business


def _dearer(business: Business) -> None:
    SupplierPrice.objects.of(business).update(price=Decimal("7.77"))


def _renamed(business: Business) -> None:
    row = Component.objects.of(business).order_by("id")[:1].get()
    row.name = "Another name"
    row.save()


def _recoloured(business: Business) -> None:
    row = Finish.objects.of(business).order_by("id")[:1].get()
    row.code = "otherwise"
    row.save()


def _without_an_offer(business: Business) -> None:
    SupplierPrice.objects.of(business).order_by("-id")[:1].get().delete()


def _without_the_supplier(business: Business) -> None:
    Supplier.objects.of(business).update(active=False)


@pytest.mark.parametrize("write", [_dearer, _renamed, _recoloured, _without_an_offer, _without_the_supplier])
def test_what_is_written_is_seen_at_once(stocked: Business, write: Callable[[Business], None]) -> None:
    before = engine_input.market(stocked)
    write(stocked)
    assert engine_input.market(stocked) != before


def test_what_was_rolled_back_is_not_seen(stocked: Business) -> None:
    before = engine_input.market(stocked)
    with transaction.atomic():
        _without_an_offer(stocked)
        assert engine_input.market(stocked) != before
        transaction.set_rollback(True)
    assert engine_input.market(stocked) == before


def test_one_query_tells_that_nothing_was_written(
    stocked: Business, django_assert_num_queries: Callable[[int], object]
) -> None:
    kept = engine_input.market(stocked)
    with django_assert_num_queries(1):  # type: ignore[attr-defined]  # pytest-django's own context manager
        assert engine_input.market(stocked) is kept


def test_no_more_than_a_few_are_kept(stocked: Business) -> None:
    day = timezone.localdate()
    for later in range(30):
        engine_input.market(stocked, day.replace(year=day.year + later % 7, month=1 + later % 12, day=1 + later % 28))
    assert len(engine_input._kept) <= 16
