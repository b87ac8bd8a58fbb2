"""Tests of the outbox: each task is done once, whatever fails."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta

import pytest
import time_machine
from django.db import transaction
from django.db.models.functions import Now
from django.utils import timezone
from pytest_django import DjangoCaptureOnCommitCallbacks

from shared.background import outbox, runner
from shared.background.events import publish_event
from shared.background.outbox import (
    Event,
    Finish,
    OutboxTask,
    PeriodicTask,
    RetryLater,
    TaskState,
    on_event,
)
from shared.business.models import Business
from shared.database.numbering import next_number


@pytest.fixture
def kitchen() -> Iterator[list[str]]:
    """Register handlers for the tests, and yield the list of what they did."""
    done: list[str] = []

    @on_event("soup.ordered", name="test.cook")
    def cook(event: Event) -> None:
        done.append(f"cooked {event.subject}")

    @on_event("soup.ordered", name="test.serve", slow=True)
    def serve(event: Event) -> Finish:
        return lambda: done.append(f"served {event.subject}")

    @on_event("soup.burnt", name="test.burn", attempts=3)
    def burn(event: Event) -> None:
        next_number(event.business, "spoon")  # type: ignore[arg-type]  # every event here has a business
        raise RuntimeError("burnt")

    @on_event("soup.later", name="test.simmer")
    def simmer(event: Event) -> None:
        if not done:
            done.append("simmering")
            raise RetryLater(timezone.now() + timedelta(hours=2))
        done.append("ready")

    yield done
    for name in [name for name, item in outbox._handlers.items() if item.kind.startswith("soup.")]:
        del outbox._handlers[name]


def test_every_handler_of_an_event_runs_after_the_commit(
    business: Business, kitchen: list[str], django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        publish_event("soup.ordered", "leek", business=business)
        assert kitchen == []
    assert sorted(kitchen) == ["cooked leek", "served leek"]
    assert {row.state for row in OutboxTask.objects.all()} == {TaskState.DONE}


def test_what_is_rolled_back_is_not_wanted(business: Business, kitchen: list[str]) -> None:
    with transaction.atomic():
        publish_event("soup.ordered", "leek", business=business)
        transaction.set_rollback(True)
    assert runner.run_due_tasks() == 0
    assert kitchen == []


def test_a_task_without_a_message_is_found(business: Business, kitchen: list[str]) -> None:
    publish_event("soup.ordered", "leek", business=business)  # nothing is committed in this test, so no message is sent
    assert runner.run_due_tasks() == 2
    assert sorted(kitchen) == ["cooked leek", "served leek"]
    assert runner.run_due_tasks() == 0


def test_running_a_row_five_times_has_one_effect(business: Business, kitchen: list[str]) -> None:
    publish_event("soup.ordered", "leek", business=business)
    for row in list(OutboxTask.objects.all()) * 5:
        runner.run(row.pk)
    assert sorted(kitchen) == ["cooked leek", "served leek"]


def test_a_handler_that_fails_leaves_nothing_rests_and_is_given_up_in_the_end(
    business: Business, kitchen: list[str]
) -> None:
    with time_machine.travel("2026-03-02T10:00:00Z", tick=False) as clock:
        publish_event("soup.burnt", "leek", business=business)
        row = OutboxTask.objects.get()
        rests = []
        for _ in range(3):
            runner.run(row.pk)
            row.refresh_from_db()
            rests.append(int((row.due_at - timezone.now()).total_seconds()))
            clock.move_to(max(row.due_at, timezone.now()))
        assert rests[:2] == [5, 10]
        assert (row.state, row.starts) == (TaskState.FAILED, 3)
        assert "burnt" in row.last_error
        # the number each try took was given back with its transaction
        assert next_number(business, "spoon") == 1


def test_a_handler_may_ask_to_come_later(business: Business, kitchen: list[str]) -> None:
    with time_machine.travel("2026-03-02T10:00:00Z", tick=False) as clock:
        publish_event("soup.later", "leek", business=business)
        runner.run_due_tasks()
        assert runner.run_due_tasks() == 0
        clock.shift(timedelta(hours=2))
        assert runner.run_due_tasks() == 1
    assert kitchen == ["simmering", "ready"]


def test_a_start_that_killed_its_worker_counts(business: Business, kitchen: list[str]) -> None:
    publish_event("soup.burnt", "leek", business=business)
    row = OutboxTask.objects.get()
    for _ in range(3):
        assert runner._lease(row.pk)  # the worker ends here and does not release its lease
        assert runner.run_due_tasks() == 0
        OutboxTask.objects.update(
            leased_until=Now() - timedelta(seconds=1)
        )  # the lease is over, by the database's clock
    runner.run_due_tasks()
    row.refresh_from_db()
    assert row.state == TaskState.FAILED
    assert row.last_error == "its worker died at every attempt"


def test_a_worker_whose_lease_ran_out_keeps_nothing(business: Business, kitchen: list[str]) -> None:
    publish_event("soup.ordered", "leek", business=business)
    row = OutboxTask.objects.get(handler__endswith="serve")
    lease = runner._lease(row.pk)
    OutboxTask.objects.filter(pk=row.pk).update(lease="another worker")
    handler = outbox.find_handler(row.handler)
    assert handler is not None
    assert lease is not None
    assert runner._work(row, handler, lease) is False
    assert kitchen == []


def test_a_suspended_businesss_jobs_have_no_effect(business: Business, kitchen: list[str]) -> None:
    publish_event("soup.ordered", "leek", business=business)
    Business.objects.update(suspended_at=timezone.now())
    runner.run_due_tasks()
    assert kitchen == []
    assert {row.last_error for row in OutboxTask.objects.all()} == {"the business is suspended"}


def test_a_routine_runs_once_in_its_time(db: None) -> None:
    before, ran = dict(outbox._periodic_tasks), []
    outbox._periodic_tasks.clear()
    try:
        outbox.run_every(timedelta(hours=1), name="test.count")(lambda: ran.append(1))
        runner.run_due_tasks()
        runner.run_due_tasks()
        assert len(ran) == 1
        PeriodicTask.objects.update(last_started_at=Now() - timedelta(hours=1))
        runner.run_due_tasks()
        assert len(ran) == 2
    finally:
        outbox._periodic_tasks.clear()
        outbox._periodic_tasks.update(before)
