"""What is wanted is done once, whatever goes wrong on the way."""

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
from shared.background.outbox import Event, Finish, Later, Routine, State, Wanted, handles, want
from shared.business.models import Business
from shared.database.numbering import next_number


@pytest.fixture
def kitchen() -> Iterator[list[str]]:
    """Handlers of a kind of their own; what they did is told in the list."""
    done: list[str] = []

    @handles("soup.wanted")
    def cook(event: Event) -> None:
        done.append(f"cooked {event.subject}")

    @handles("soup.wanted", slow=True)
    def serve(event: Event) -> Finish:
        return lambda: done.append(f"served {event.subject}")

    @handles("soup.burnt", attempts=3)
    def burn(event: Event) -> None:
        next_number(event.business, "spoon")  # type: ignore[arg-type]  # every event here has a business
        raise RuntimeError("burnt")

    @handles("soup.later")
    def simmer(event: Event) -> None:
        if not done:
            done.append("simmering")
            raise Later(timezone.now() + timedelta(hours=2))
        done.append("ready")

    yield done
    for name in [name for name, one in outbox._handlers.items() if one.kind.startswith("soup.")]:
        del outbox._handlers[name]


def test_every_handler_of_an_event_runs_after_the_commit(
    business: Business, kitchen: list[str], django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        want("soup.wanted", "leek", business=business)
        assert kitchen == []
    assert sorted(kitchen) == ["cooked leek", "served leek"]
    assert {row.state for row in Wanted.objects.all()} == {State.DONE}


def test_what_is_rolled_back_is_not_wanted(business: Business, kitchen: list[str]) -> None:
    with transaction.atomic():
        want("soup.wanted", "leek", business=business)
        transaction.set_rollback(True)
    assert runner.sweep() == 0
    assert kitchen == []


def test_a_lost_nudge_is_found_by_the_sweep(business: Business, kitchen: list[str]) -> None:
    want("soup.wanted", "leek", business=business)  # in this test nothing commits, so nothing is nudged
    assert runner.sweep() == 2
    assert sorted(kitchen) == ["cooked leek", "served leek"]
    assert runner.sweep() == 0


def test_running_a_row_five_times_has_one_effect(business: Business, kitchen: list[str]) -> None:
    want("soup.wanted", "leek", business=business)
    for row in list(Wanted.objects.all()) * 5:
        runner.run(row.pk)
    assert sorted(kitchen) == ["cooked leek", "served leek"]


def test_a_handler_that_fails_leaves_nothing_rests_and_is_given_up_in_the_end(
    business: Business, kitchen: list[str]
) -> None:
    with time_machine.travel("2026-03-02T10:00:00Z", tick=False) as clock:
        want("soup.burnt", "leek", business=business)
        row = Wanted.objects.get()
        rests = []
        for _ in range(3):
            runner.run(row.pk)
            row.refresh_from_db()
            rests.append(int((row.due_at - timezone.now()).total_seconds()))
            clock.move_to(max(row.due_at, timezone.now()))
        assert rests[:2] == [5, 10]
        assert (row.state, row.starts) == (State.DEAD, 3)
        assert "burnt" in row.last_fault
        # the number each try took was given back with its transaction
        assert next_number(business, "spoon") == 1


def test_a_handler_may_ask_to_come_later(business: Business, kitchen: list[str]) -> None:
    with time_machine.travel("2026-03-02T10:00:00Z", tick=False) as clock:
        want("soup.later", "leek", business=business)
        runner.sweep()
        assert runner.sweep() == 0
        clock.shift(timedelta(hours=2))
        assert runner.sweep() == 1
    assert kitchen == ["simmering", "ready"]


def test_a_start_that_killed_its_worker_counts(business: Business, kitchen: list[str]) -> None:
    want("soup.burnt", "leek", business=business)
    row = Wanted.objects.get()
    for _ in range(3):
        assert runner._claim(row.pk)  # the worker dies here: nobody gives the lease back
        assert runner.sweep() == 0
        Wanted.objects.update(leased_until=Now() - timedelta(seconds=1))  # the lease is over, by the database's clock
    runner.sweep()
    row.refresh_from_db()
    assert row.state == State.DEAD
    assert row.last_fault == "its worker died at every start"


def test_a_worker_whose_lease_ran_out_keeps_nothing(business: Business, kitchen: list[str]) -> None:
    want("soup.wanted", "leek", business=business)
    row = Wanted.objects.get(handler__endswith="serve")
    lease = runner._claim(row.pk)
    Wanted.objects.filter(pk=row.pk).update(lease="somebody else")
    handler = outbox.handler_named(row.handler)
    assert handler is not None
    assert lease is not None
    assert runner._work(row, handler, lease) is False
    assert kitchen == []


def test_a_suspended_businesss_jobs_have_no_effect(business: Business, kitchen: list[str]) -> None:
    want("soup.wanted", "leek", business=business)
    Business.objects.update(suspended_at=timezone.now())
    runner.sweep()
    assert kitchen == []
    assert {row.last_fault for row in Wanted.objects.all()} == {"the business is suspended"}


def test_a_routine_runs_once_in_its_time(db: None) -> None:
    before, ran = dict(outbox._routines), []
    outbox._routines.clear()
    try:
        outbox.regularly(timedelta(hours=1))(lambda: ran.append(1))
        runner.sweep()
        runner.sweep()
        assert len(ran) == 1
        Routine.objects.update(last_started_at=Now() - timedelta(hours=1))
        runner.sweep()
        assert len(ran) == 2
    finally:
        outbox._routines.clear()
        outbox._routines.update(before)
