"""Drills that kill, stop and race processes of the service. Each effect happens exactly once."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
import redis

from tests.faults.service import MAX_WAIT_S, PRELOAD, Service, started_service, wait_until
from tests.shared.background.test_broker import BROKEN, GARBAGE

pytestmark = [pytest.mark.redis, pytest.mark.slow]
RUNS = 20

_RUN_ALL = """
from shared.background import runner
from shared.background.outbox import OutboxTask
for row in OutboxTask.objects.all():
    runner.run(row.pk)
"""


# prints how often the broker was tried during 40 writes, and how often a pause of 5 s after a failure ended in that time
_COUNT_TRIES = """
import time
from django.db import transaction
from shared.background import runner
from shared.business.models import Business
from shared.background.events import publish_event
from shared.background.celery_app import app
tries, send = [], app.send_task
app.send_task = lambda *args, **options: (tries.append(1), send(*args, **options))
business, started = Business.objects.get(), time.monotonic()
for number in range(40):
    with transaction.atomic():
        publish_event('drill.quick', f'{number}', business=business)
print(len(tries), int((time.monotonic() - started) // runner._PAUSE_S))
"""


@pytest.fixture
def service(tmp_path: Path, database: Path) -> Iterator[Service]:
    with started_service(Service(tmp_path), database) as running:
        yield running


def assert_done_once(service: Service, count: int) -> None:
    """Wait until ``count`` tasks are done, and check that each had one effect."""
    wait_until(lambda: len(service.effects()) >= count, f"fewer than {count} effects")
    assert sorted(service.effects(), key=int) == [str(number) for number in range(count)]


def test_a_worker_killed_during_its_tasks_loses_and_repeats_nothing(service: Service) -> None:
    worker = service.start_worker()
    service.publish("drill.slow", 6)
    wait_until(lambda: len(service.effects()) >= 1, "no task is done")
    service.kill(worker)
    service.start_worker()
    assert_done_once(service, 6)


def test_invalid_entries_in_the_brokers_list_end_no_worker(service: Service) -> None:
    worker = service.start_worker()
    service.publish("drill.quick", 1)
    assert_done_once(service, 1)
    with redis.Redis(port=service.port) as broker:
        for entry in [*GARBAGE, *BROKEN]:
            broker.lpush("celery", entry)
        wait_until(lambda: broker.llen("celery") == 0, "the list is not read")
    service.publish("drill.quick", 1)
    wait_until(lambda: len(service.effects()) == 2, "the worker has stopped")
    assert worker.poll() is None
    dropped = (service.folder / "worker.log").read_bytes().count(b"is not a message, dropped")
    assert dropped == len(GARBAGE) + len(BROKEN)


def test_a_killed_pool_child_costs_nothing(service: Service) -> None:
    service.start_beat()
    worker = service.start_worker(beat=False)
    service.publish("drill.slow", 5)
    wait_until(lambda: len(service.effects()) >= 1, "no task is done")
    for child in service.children(worker):
        os.kill(child, signal.SIGKILL)
    assert_done_once(service, 5)


def test_redis_emptied_and_killed_during_tasks_loses_nothing(service: Service) -> None:
    service.start_worker()
    service.publish("drill.short", 200)
    wait_until(lambda: len(service.effects()) >= 10, "no task is done")
    service.flush_redis()
    service.kill_redis()
    assert len(service.effects()) < 200
    time.sleep(1)
    service.start_redis()
    # the same worker continues by itself
    assert_done_once(service, 200)


def test_a_worker_that_is_stopped_finishes_its_task_and_leaves_the_others(service: Service) -> None:
    worker = service.start_worker()
    service.publish("drill.slow", 5)
    wait_until(lambda: len(service.effects()) >= 1, "no task is done")
    worker.terminate()
    assert worker.wait(timeout=MAX_WAIT_S) == 0
    done = len(service.effects())
    assert 1 <= done < 5
    held = service.rows("SELECT count(*) FROM shared_outboxtask WHERE leased_until IS NOT NULL")
    assert held == [(0,)], "it finished the task that it had started"
    service.start_worker()
    assert_done_once(service, 5)
    assert service.rows("SELECT max(starts) FROM shared_outboxtask") == [(1,)]


def test_a_storm_of_kills_leaves_one_effect_of_each(service: Service) -> None:
    dice = random.Random(7)  # noqa: S311 - the same kills in every run
    service.start_beat()
    worker = service.start_worker(beat=False, concurrency=2)
    service.publish("drill.short", 300, "import os; os._exit(0)")
    for kill in range(6):
        before = len(service.effects())
        wait_until(lambda before=before: len(service.effects()) > before, "no task is done")  # type: ignore[misc]
        if kill % 3 == 2:
            service.kill(worker)
            worker = service.start_worker(beat=False, concurrency=2)
        elif children := service.children(worker):
            os.kill(dice.choice(children), signal.SIGKILL)
    assert len(service.effects()) < 300, "the kills came too late"
    assert_done_once(service, 300)


def test_a_task_delivered_many_times_while_it_runs_is_started_once(service: Service) -> None:
    # Redis does this with a task that runs longer than the visibility timeout
    service.publish("drill.slow", 1)
    service.python("""
from shared.background import runner
from shared.background.outbox import OutboxTask
runner.run_soon([OutboxTask.objects.get().pk] * 8)
""")
    service.start_worker(concurrency=2)
    assert_done_once(service, 1)
    assert service.rows("SELECT starts FROM shared_outboxtask") == [(1,)]


def test_a_stopped_broker_neither_stops_nor_delays_a_write(service: Service) -> None:
    service.kill_redis()
    tries, ended_pauses = map(int, service.python(_COUNT_TRIES).split())
    assert 1 <= tries <= 1 + ended_pauses, "after a failure the other writes do not try the broker"
    assert service.states() == ["queued"] * 40
    service.start_redis()
    service.start_worker()
    wait_until(lambda: service.states() == ["done"] * 40, "not every task is done")


def test_a_crash_at_any_point_keeps_the_effects_of_committed_changes(service: Service) -> None:
    service.python(f"from tests.faults.crashing import *; crash_everywhere({RUNS})")
    assert not [name for name in service.effects() if int(name) < 4000], "a task ran that was not committed"
    service.start_worker()
    committed = sorted(1000 * place + run for place in range(1, 5) for run in range(RUNS))
    wait_until(lambda: len(service.effects()) >= len(committed), "not every committed task is done")
    assert sorted(map(int, service.effects())) == committed


def test_a_task_that_kills_its_worker_is_marked_failed_and_the_others_run(service: Service) -> None:
    service.start_worker()
    service.publish("drill.poison", 1)
    service.publish("drill.quick", 3)
    wait_until(lambda: sorted(service.states()) == ["done", "done", "done", "failed"], "the task is not marked failed")
    assert len(service.effects()) == 3


def test_eight_runners_of_the_same_tasks_one_of_them_killed_have_one_effect_each(service: Service) -> None:
    service.publish("drill.short", 100, "import os; os._exit(0)")
    service.python("from tests.faults.crashing import *; run_in_a_crowd(8, kill_after=10)")
    assert len(service.effects()) >= 99
    time.sleep(3)  # the lease of the killed runner ends
    service.python(_RUN_ALL)
    assert_done_once(service, 100)


def test_four_writers_on_sqlite_take_numbers_without_gaps_doubles_or_errors(service: Service) -> None:
    code = """
from django.db import transaction
from shared.business.models import Business
from shared.database.numbering import next_number
for _ in range(40):
    with transaction.atomic():
        business = Business.objects.get()
        print(next_number(business, 'quote'))
"""
    writers = [
        subprocess.Popen(
            [sys.executable, "-c", PRELOAD + code], env=service.env, stdout=subprocess.PIPE, cwd=service.folder
        )
        for _ in range(4)
    ]
    numbers = [int(number) for writer in writers for number in writer.communicate(timeout=MAX_WAIT_S)[0].split()]
    assert sorted(numbers) == list(range(1, 161))
