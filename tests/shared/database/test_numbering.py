"""Numbers have no gaps or duplicates, and two transactions that wait for each other both end well."""

from __future__ import annotations

import contextlib
import re
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from threading import Barrier, BrokenBarrierError

import pytest
from django.db import IntegrityError, OperationalError, connection, transaction

from shared.business.models import Business, Member, Person
from shared.business.roles import MemberRole
from shared.database.errors import retry_deadlock
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


ROOT = Path(__file__).resolve().parents[3]


class DeadlockDetected(Exception):
    sqlstate = "40P01"


def deadlock() -> OperationalError:
    error = OperationalError("deadlock detected")
    error.__cause__ = DeadlockDetected()
    return error


def test_a_deadlock_is_repeated_once_and_the_second_one_is_passed_on() -> None:
    calls: list[str] = []

    def work(failures: int) -> str:
        calls.append("call")
        if len(calls) <= failures:
            raise deadlock()
        return "stored"

    assert (retry_deadlock(work)(1), len(calls)) == ("stored", 2)
    calls.clear()
    with pytest.raises(OperationalError):
        retry_deadlock(work)(2)
    assert len(calls) == 2


@pytest.mark.parametrize("error", [OperationalError("disk full"), IntegrityError("double")])
def test_another_error_is_not_repeated(error: Exception) -> None:
    calls: list[str] = []

    def work() -> None:
        calls.append("call")
        raise error

    with pytest.raises(type(error)):
        retry_deadlock(work)()
    assert len(calls) == 1


@pytest.mark.django_db
def test_inside_a_transaction_a_deadlock_is_passed_on() -> None:
    calls: list[str] = []

    def work() -> None:
        calls.append("call")
        raise deadlock()

    with pytest.raises(OperationalError), transaction.atomic():
        retry_deadlock(work)()
    assert len(calls) == 1


@pytest.mark.postgres
@pytest.mark.django_db(transaction=True)
def test_two_transactions_that_wait_for_each_other_are_both_stored(cast: Cast) -> None:
    names = {cast.business.pk: "a", cast.strangers_business.pk: "b"}
    meet = Barrier(2)

    def rename(first: int, second: int) -> int:
        calls = 0

        @retry_deadlock
        @transaction.atomic
        def change() -> None:
            nonlocal calls
            calls += 1
            Business.objects.filter(pk=first).update(name=names[first] + str(calls))
            with contextlib.suppress(BrokenBarrierError):
                meet.wait(timeout=5 if calls == 1 else 0.01)
            Business.objects.filter(pk=second).update(phone=f"from {first}")

        try:
            change()
        finally:
            connection.close()
        return calls

    one, other = names
    with ThreadPoolExecutor(2) as pool:
        calls = list(pool.map(rename, (one, other), (other, one)))
    assert sorted(calls) == [1, 2]
    assert set(Business.objects.filter(pk__in=names).values_list("phone", flat=True)) == {
        f"from {one}",
        f"from {other}",
    }


@pytest.mark.postgres
@pytest.mark.django_db(transaction=True)
def test_a_locked_row_can_be_referred_to_by_a_new_row(cast: Cast) -> None:
    """FOR UPDATE would make the foreign key's check wait until the lock is released."""
    person = Person.objects.create_user("new@example.test")
    refers = Barrier(2)

    def refer() -> str:
        try:
            refers.wait(timeout=20)
            with transaction.atomic(), connection.cursor() as cursor:
                cursor.execute("SET LOCAL lock_timeout = '3s'")
                Member.objects.create(business=cast.business, person=person, role=MemberRole.CREW)
            return "stored"
        finally:
            connection.close()

    with ThreadPoolExecutor(1) as pool, transaction.atomic():
        Business.objects.select_for_update(no_key=True).get(pk=cast.business.pk)
        running = pool.submit(refer)
        refers.wait(timeout=20)
        assert running.result(timeout=20) == "stored"


def test_every_lock_of_a_row_leaves_its_key_free() -> None:
    """A plain FOR UPDATE conflicts with the foreign keys that are checked at commit."""
    call = re.compile(r"select_for_update\((?!no_key=True)")
    found = [
        f"{path.relative_to(ROOT)}:{number}"
        for folder in ("shared", "catalogue", "quotes")
        for path in sorted((ROOT / folder).rglob("*.py"))
        for number, line in enumerate(path.read_text().splitlines(), 1)
        if call.search(line)
    ]
    assert found == []
