"""Processes that end themselves, or each other, in the middle of a job: run inside a drill's service, never in a test."""

from __future__ import annotations

import os
import signal
import traceback
from collections.abc import Callable, Iterable
from functools import partial
from typing import Final

from django.db import connections, transaction

from shared.background import runner as runner_module
from shared.background.outbox import Handler, OutboxTask, handlers_of, publish_event
from shared.business.models import Business
from shared.models import AuditEntry


def nothing() -> None:
    """Goes on."""


def leave() -> None:
    """Ends the process at once: nothing is rolled back, closed or flushed."""
    os._exit(0)


def _order(name: str, before_commit: Callable[[], None] = nothing) -> int:
    with transaction.atomic():
        publish_event("drill.quick", name, business=Business.objects.get())
        before_commit()
    return OutboxTask.objects.get(event__subject=name).pk


def before_the_commit(name: str) -> None:
    _order(name, leave)


def after_the_commit(name: str) -> None:
    def nudge(wanted_ids: Iterable[int]) -> None:
        leave()

    runner_module.run_soon = nudge
    _order(name)


def after_the_nudge(name: str) -> None:
    _order(name)


def in_the_job(name: str) -> None:
    def half(row: OutboxTask, handler: Handler, lease: str) -> bool:
        with transaction.atomic():
            handler.handle(row.event)
            leave()
        return False

    runner_module._work = half
    runner_module.run(_order(name))


def after_the_mark(name: str) -> None:
    runner_module.run(_order(name))


POINTS: Final = (before_the_commit, after_the_commit, after_the_nudge, in_the_job, after_the_mark)


def crash_everywhere(runs: int) -> None:
    """An order ``1000 * point + run`` in a process of its own for each, which ends at the point."""
    handlers_of("drill.quick")  # all are loaded once, before the forks
    for place, point in enumerate(POINTS):
        for run in range(runs):
            _wait(_fork(partial(point, str(1000 * place + run))))


def run_in_a_crowd(runners: int, kill_after: int) -> None:
    """Everything that is wanted, by so many processes at once, the first of which is killed after so many effects."""
    crowd = [_fork(_run_all) for _ in range(runners)]
    while AuditEntry.objects.count() < kill_after:
        pass
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
        except BaseException:  # noqa: BLE001 - told, and the process ends  # noqa: BLE001 - told, and the process ends
            traceback.print_exc()
            os._exit(1)
        os._exit(0)
    return child


def _wait(child: int) -> None:
    _, status = os.waitpid(child, 0)
    if status:
        raise AssertionError(f"a process ended with {status}")
