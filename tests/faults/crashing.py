"""Processes that end themselves or each other during a task. They run inside a drill's service, never in a test process."""

from __future__ import annotations

import os
import signal
import time
import traceback
from collections.abc import Callable, Iterable
from functools import partial
from typing import Final

from django.db import connections, transaction

from shared.background import runner as runner_module
from shared.background.events import publish_event
from shared.background.outbox import Handler, OutboxTask, handlers_of
from shared.business.models import Business
from shared.models import AuditEntry


def do_nothing() -> None:
    """Do nothing."""


def leave() -> None:
    """End the process at once. Nothing is rolled back, closed or flushed."""
    os._exit(0)


def _publish(name: str, before_commit: Callable[[], None] = do_nothing) -> int:
    with transaction.atomic():
        publish_event("drill.quick", name, business=Business.objects.get())
        before_commit()
    return OutboxTask.objects.get(event__subject=name).pk


def before_the_commit(name: str) -> None:
    """End before the change is committed."""
    _publish(name, leave)


def after_the_commit(name: str) -> None:
    """End after the commit, before the broker is notified."""

    def run_soon(task_ids: Iterable[int]) -> None:
        leave()

    runner_module.run_soon = run_soon
    _publish(name)


def after_the_message(name: str) -> None:
    """End after the broker was notified."""
    _publish(name)


def in_the_task(name: str) -> None:
    """End during the task, before its transaction is committed."""

    def work_and_leave(row: OutboxTask, handler: Handler, lease: str) -> bool:
        with transaction.atomic():
            handler.handle(row.event)
            leave()
        return False

    runner_module._work = work_and_leave
    runner_module.run(_publish(name))


def after_the_task(name: str) -> None:
    """End after the task is marked done."""
    runner_module.run(_publish(name))


POINTS: Final = (before_the_commit, after_the_commit, after_the_message, in_the_task, after_the_task)


def crash_everywhere(runs: int) -> None:
    """Publish the event ``1000 * index + run`` for each point, in its own process, which ends at that point."""
    handlers_of("drill.quick")  # load the handlers once, before the forks
    for index, point in enumerate(POINTS):
        for run in range(runs):
            _wait(_fork(partial(point, str(1000 * index + run))))


def run_in_a_crowd(runners: int, kill_after: int) -> None:
    """Run every task in several processes at once. Kill the first process after ``kill_after`` effects."""
    crowd = [_fork(_run_all) for _ in range(runners)]
    while AuditEntry.objects.count() < kill_after:
        time.sleep(0.01)
    os.kill(crowd[0], signal.SIGKILL)
    os.waitpid(crowd[0], 0)
    for runner in crowd[1:]:
        _wait(runner)


def _run_all() -> None:
    for row in OutboxTask.objects.all():
        runner_module.run(row.pk)


def _fork(do: Callable[[], None]) -> int:
    connections.close_all()  # a connection belongs to one process
    child = os.fork()
    if not child:
        try:
            do()
        except BaseException:  # noqa: BLE001 - print the error and end the process
            traceback.print_exc()
            os._exit(1)
        os._exit(0)
    return child


def _wait(child: int) -> None:
    _, status = os.waitpid(child, 0)
    if status:
        raise AssertionError(f"a process ended with {status}")
