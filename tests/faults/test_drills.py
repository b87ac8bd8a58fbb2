"""Kill, stop and race: whatever is lost on the way, each effect happens once."""

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

from tests.faults.service import PRELOAD, Service, begun, filled_once, until
from tests.shared.background.test_broker import BROKEN, GARBAGE

pytestmark = [pytest.mark.redis, pytest.mark.slow]
RUNS = 50

START = """
from django.core.management import call_command
call_command('migrate', verbosity=0)
from shared.business import services
from shared.business.models import Person
services.start_business(owner=Person.objects.create_user('o@example.test'), name='Drill', country='NZ', currency='NZD')
"""


_RUN_ALL = """
from shared.background import runner
from shared.background.outbox import OutboxTask
for row in OutboxTask.objects.all():
    runner.run(row.pk)
"""


# seconds that 19 of 20 writes take at most
_TIMED = """
import time
from django.db import transaction
from shared.business.models import Business
from shared.background.outbox import publish_event
business, taken = Business.objects.get(), []
for number in range(40):
    began = time.perf_counter()
    with transaction.atomic():
        publish_event('drill.quick', f'{number}', business=business)
    taken.append(time.perf_counter() - began)
print(sorted(taken)[37])
"""


@pytest.fixture(scope="module")
def started(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return filled_once(Service(tmp_path_factory.mktemp("started")), START)


@pytest.fixture
def service(tmp_path: Path, started: Path) -> Iterator[Service]:
    with begun(Service(tmp_path), started) as made:
        yield made


def done_once(service: Service, count: int, seconds: float) -> None:
    until(lambda: len(service.effects()) >= count, seconds, f"not all of {count} effects are there")
    assert sorted(service.effects(), key=int) == [str(number) for number in range(count)]


def test_a_worker_killed_in_the_middle_of_its_jobs_loses_and_doubles_nothing(service: Service) -> None:
    worker = service.start_worker()
    service.want("drill.slow", 6)
    until(lambda: len(service.effects()) >= 1, 20, "the worker does nothing")
    service.kill(worker)
    service.start_worker()
    done_once(service, 6, 90)


def test_garbage_in_the_brokers_list_ends_no_worker(service: Service) -> None:
    worker = service.start_worker()
    service.want("drill.quick", 1)
    done_once(service, 1, 40)
    with redis.Redis(port=service.port) as broker:
        for entry in [*GARBAGE, *BROKEN]:
            broker.lpush("celery", entry)
        until(lambda: broker.llen("celery") == 0, 20, "the list is not read")
    service.want("drill.quick", 1)
    until(lambda: len(service.effects()) == 2, 40, "the worker does nothing any more")
    assert worker.poll() is None
    dropped = (service.folder / "worker.log").read_bytes().count(b"is not a message, dropped")
    assert dropped == len(GARBAGE) + len(BROKEN)


def test_a_killed_pool_child_costs_nothing(service: Service) -> None:
    service.start_beat()
    worker = service.start_worker(beat=False)
    service.want("drill.slow", 5)
    until(lambda: len(service.effects()) >= 1, 20, "the worker does nothing")
    for child in service.children(worker):
        os.kill(child, signal.SIGKILL)
    done_once(service, 5, 90)


def test_redis_emptied_and_killed_in_the_middle_holds_nothing_we_need(service: Service) -> None:
    service.start_worker()
    service.want("drill.short", 200)
    until(lambda: len(service.effects()) >= 10, 20, "the worker does nothing")
    service.flush_redis()
    service.kill_redis()
    assert len(service.effects()) < 200
    time.sleep(1)
    service.start_redis()
    # the worker that ran all the while goes on by itself
    done_once(service, 200, 60)


def test_a_worker_told_to_stop_finishes_its_job_and_leaves_the_others(service: Service) -> None:
    worker = service.start_worker()
    service.want("drill.slow", 5)
    until(lambda: len(service.effects()) >= 1, 20, "the worker does nothing")
    worker.terminate()
    assert worker.wait(timeout=15) == 0
    done = len(service.effects())
    assert 1 <= done < 5
    held = service.rows("SELECT count(*) FROM shared_outboxtask WHERE leased_until IS NOT NULL")
    assert held == [(0,)], "it gave up nothing that it had begun"
    service.start_worker()
    done_once(service, 5, 60)
    assert service.rows("SELECT max(starts) FROM shared_outboxtask") == [(1,)]


def test_a_storm_of_kills_leaves_one_effect_of_each(service: Service) -> None:
    dice = random.Random(7)  # noqa: S311 - a storm that is the same every time
    service.start_beat()
    worker = service.start_worker(beat=False, concurrency=2)
    service.want("drill.short", 300, "import os; os._exit(0)")
    for strike in range(6):
        before = len(service.effects())
        until(lambda before=before: len(service.effects()) > before, 40, "the worker does nothing")  # type: ignore[misc]
        if strike % 3 == 2:
            service.kill(worker)
            worker = service.start_worker(beat=False, concurrency=2)
        elif children := service.children(worker):
            os.kill(dice.choice(children), signal.SIGKILL)
    assert len(service.effects()) < 300, "the storm was in the middle of it"
    done_once(service, 300, 90)


def test_a_job_handed_out_many_times_while_it_runs_is_started_once(service: Service) -> None:
    # what Redis does with a job that runs longer than the visibility time-out
    service.want("drill.slow", 1)
    service.python("""
from shared.background import runner
from shared.background.outbox import OutboxTask
runner.run_soon([OutboxTask.objects.get().pk] * 8)
""")
    service.start_worker(concurrency=2)
    done_once(service, 1, 20)
    assert service.rows("SELECT starts FROM shared_outboxtask") == [(1,)]


def test_a_stopped_broker_neither_stops_a_write_nor_holds_it_up(service: Service) -> None:
    with_broker = float(service.python(_TIMED))
    service.kill_redis()
    without = float(service.python(_TIMED))
    assert without <= 2 * with_broker + 0.02, "19 of 20 writes take no more than twice as long"
    assert service.states() == ["wanted"] * 80
    service.start_redis()
    service.start_worker()
    until(lambda: service.states() == ["done"] * 80, 25, "not everything that was wanted is done")


def test_a_crash_at_any_point_leaves_the_effects_of_what_was_committed(service: Service) -> None:
    service.python(f"from tests.faults.crashing import *; crash_everywhere({RUNS})")
    assert not [name for name in service.effects() if int(name) < 4000], "nothing ran but what was to run"
    service.start_worker()
    committed = sorted(1000 * place + run for place in range(1, 5) for run in range(RUNS))
    until(lambda: len(service.effects()) >= len(committed), 45, "not everything that was committed is done")
    assert sorted(map(int, service.effects())) == committed


def test_a_job_that_kills_its_worker_is_given_up_and_the_others_go_on(service: Service) -> None:
    service.start_worker()
    service.want("drill.poison", 1)
    service.want("drill.quick", 3)
    until(lambda: sorted(service.states()) == ["dead", "done", "done", "done"], 40, "the poison is not parked")
    assert len(service.effects()) == 3


def test_eight_runners_of_the_same_rows_one_of_them_killed_have_one_effect_each(service: Service) -> None:
    service.want("drill.short", 100, "import os; os._exit(0)")
    service.python("from tests.faults.crashing import *; run_in_a_crowd(8, kill_after=10)")
    assert len(service.effects()) >= 99
    time.sleep(3)  # the lease of the row that was in the killed one's hands
    service.python(_RUN_ALL)
    done_once(service, 100, 5)


def test_four_writers_on_sqlite_take_numbers_without_gap_double_or_lock(service: Service) -> None:
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
    numbers = [int(number) for writer in writers for number in writer.communicate(timeout=60)[0].split()]
    assert sorted(numbers) == list(range(1, 161))
