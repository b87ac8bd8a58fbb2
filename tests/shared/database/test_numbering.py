"""Tests of numbering: numbers have no gaps or duplicates, also for concurrent transactions."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import pytest
from django.db import connection, transaction

from shared.business.models import Business
from shared.database.numbering import next_number
from tests.conftest import Cast


def test_each_business_and_kind_counts_from_one(cast: Cast) -> None:
    mine, theirs = cast.business, cast.strangers_business
    assert [next_number(mine, "quote") for _ in range(3)] == [1, 2, 3]
    assert next_number(mine, "order") == 1
    assert next_number(theirs, "quote") == 1


def test_a_number_of_a_change_that_was_undone_is_given_out_again(business: Business) -> None:
    with transaction.atomic():
        assert next_number(business, "quote") == 1
        transaction.set_rollback(True)
    assert next_number(business, "quote") == 1


@pytest.mark.django_db(transaction=True)
def test_a_number_is_refused_outside_of_a_transaction(business: Business) -> None:
    with pytest.raises(transaction.TransactionManagementError):
        next_number(business, "quote")


@pytest.mark.postgres
@pytest.mark.django_db(transaction=True)
def test_thirty_two_at_once_get_one_to_thirty_two(business: Business) -> None:
    def take(_: int) -> int:
        try:
            with transaction.atomic():
                return next_number(business, "order")
        finally:
            connection.close()

    with ThreadPoolExecutor(8) as pool:
        assert sorted(pool.map(take, range(32))) == list(range(1, 33))
