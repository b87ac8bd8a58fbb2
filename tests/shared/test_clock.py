"""Tests with clocks that differ by ten minutes, days of 23 and 25 hours, and the 29th of February."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta

import pytest
import time_machine
from django.db import transaction
from django.db.models.functions import Now
from django.utils import timezone

from shared.background import outbox, runner
from shared.background.events import publish_event
from shared.background.outbox import Event, Finish, OutboxTask, RetryLater, TaskState, on_event
from shared.business.actors import SYSTEM
from shared.business.models import Business
from shared.common.dates import local_day
from shared.database import audit_log
from shared.database.numbering import next_number

pytestmark = pytest.mark.django_db
TEN = timedelta(minutes=10)
NOON = datetime(2031, 3, 3, 12, tzinfo=UTC)


@pytest.fixture
def brewed() -> Iterator[list[str]]:
    """Register handlers for the tests, and yield the list of what they did."""
    done: list[str] = []

    @on_event("clock.tea", name="test.brew", slow=True)
    def brew(event: Event) -> Finish:
        return lambda: done.append(event.subject)

    @on_event("clock.later", name="test.wait")
    def wait(event: Event) -> None:
        if timezone.now() < NOON + timedelta(hours=2):
            raise RetryLater(NOON + timedelta(hours=2))
        done.append(event.subject)

    yield done
    for name in [name for name, item in outbox._handlers.items() if item.kind.startswith("clock.")]:
        del outbox._handlers[name]


def test_work_wanted_by_a_clock_ahead_waits_for_its_time_and_is_done_once(
    business: Business, brewed: list[str]
) -> None:
    with time_machine.travel(NOON + TEN, tick=False):
        publish_event("clock.tea", "green", business=business)
    with time_machine.travel(NOON, tick=False) as clock:
        assert (runner.run_due_tasks(), brewed) == (0, [])
        clock.shift(TEN)
        assert (runner.run_due_tasks(), runner.run_due_tasks(), brewed) == (1, 0, ["green"])


@pytest.mark.parametrize("skew", [-TEN, TEN], ids=["behind", "ahead"])
def test_a_lease_lasts_as_long_by_every_clock_as_only_the_database_measures_it(
    business: Business, brewed: list[str], skew: timedelta
) -> None:
    with time_machine.travel(NOON - TEN, tick=False):
        publish_event("clock.tea", "green", business=business)
    row = OutboxTask.objects.get()
    with time_machine.travel(NOON + skew, tick=False):
        assert runner._lease(row.pk)
    for clock in (NOON - TEN, NOON, NOON + TEN):
        with time_machine.travel(clock, tick=False):
            assert runner._lease(row.pk) is None, "another worker has the lease"
            assert runner.run_due_tasks() == 0
    assert brewed == []


def test_a_lease_that_is_over_is_taken_over_and_keeps_nothing_of_the_first(
    business: Business, brewed: list[str]
) -> None:
    publish_event("clock.tea", "green", business=business)
    row = OutboxTask.objects.get()
    lease = runner._lease(row.pk)
    assert lease
    OutboxTask.objects.update(leased_until=Now() - timedelta(seconds=1))
    assert runner.run(row.pk)
    handler = outbox.find_handler(row.handler)
    assert handler
    assert not runner._work(row, handler, lease)
    assert brewed == ["green"]


def test_a_retry_is_due_at_its_time_by_whichever_clock(business: Business, brewed: list[str]) -> None:
    with time_machine.travel(NOON, tick=False) as clock:
        publish_event("clock.later", "black", business=business)
        runner.run_due_tasks()
        clock.shift(TEN + timedelta(hours=2))
        runner.run_due_tasks()
    assert brewed == ["black"]
    assert OutboxTask.objects.get().state == TaskState.DONE


def test_numbers_and_the_audit_trail_go_on_when_the_clock_goes_back(business: Business) -> None:
    numbers = []
    for skew in (TEN, -TEN, timedelta(0)):
        with time_machine.travel(NOON + skew, tick=False), transaction.atomic():
            numbers.append(next_number(business, "quote"))
            audit_log.record(business, SYSTEM, "clock.turned", f"skew:{skew}")
    assert numbers == [1, 2, 3]
    assert list(audit_log.verify(business)) == []


@pytest.mark.parametrize(
    ("zone", "moment", "day"),
    [
        # the clocks go back on 6 April 2031, a day of 25 hours: it is UTC+13 until 14:00 UTC on the 5th, then UTC+12
        ("Pacific/Auckland", "2031-04-05T10:59:59Z", date(2031, 4, 5)),
        ("Pacific/Auckland", "2031-04-05T11:00:00Z", date(2031, 4, 6)),
        ("Pacific/Auckland", "2031-04-06T11:59:59Z", date(2031, 4, 6)),
        ("Pacific/Auckland", "2031-04-06T12:00:00Z", date(2031, 4, 7)),
        # forward on 28 September, a day of 23 hours: UTC+12 until 14:00 UTC on the 27th, then UTC+13
        ("Pacific/Auckland", "2031-09-27T12:00:00Z", date(2031, 9, 28)),
        ("Pacific/Auckland", "2031-09-28T10:59:59Z", date(2031, 9, 28)),
        ("Pacific/Auckland", "2031-09-28T11:00:00Z", date(2031, 9, 29)),
        ("UTC", "2032-02-28T23:59:59Z", date(2032, 2, 28)),
        ("UTC", "2032-02-29T12:00:00Z", date(2032, 2, 29)),
        ("UTC", "2032-03-01T00:00:00Z", date(2032, 3, 1)),
    ],
)
def test_a_day_is_the_businesss_own_whatever_its_length(business: Business, zone: str, moment: str, day: date) -> None:
    business.time_zone = zone
    assert local_day(business, datetime.fromisoformat(moment)) == day
