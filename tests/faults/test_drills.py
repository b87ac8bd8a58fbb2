"""Kill, stop and race: whatever is lost on the way, each effect happens once."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.faults.service import PRELOAD, Service, until

pytestmark = [pytest.mark.redis, pytest.mark.slow]

_START = """
from django.core.management import call_command
call_command('migrate', verbosity=0)
from shared.business import services
from shared.business.models import Person
services.start_business(owner=Person.objects.create_user('o@example.test'), name='Drill', country='NZ', currency='NZD')
"""


_RUN_ALL = """
from shared import relay
from shared.outbox import Wanted
for row in Wanted.objects.all():
    relay.run(row.pk)
"""


@pytest.fixture(scope="module")
def started(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("started")
    Service(folder).python(_START)
    return folder / "drill.sqlite3"


@pytest.fixture
def service(tmp_path: Path, started: Path) -> Iterator[Service]:
    made = Service(tmp_path)
    shutil.copy(started, tmp_path)
    made.start_redis()
    yield made
    made.close()


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


def test_a_killed_pool_child_costs_nothing(service: Service) -> None:
    service.start_beat()
    worker = service.start_worker(beat=False)
    service.want("drill.slow", 5)
    until(lambda: len(service.effects()) >= 1, 20, "the worker does nothing")
    for child in service.children(worker):
        os.kill(child, signal.SIGKILL)
    done_once(service, 5, 90)


def test_redis_emptied_and_killed_holds_nothing_we_need(service: Service) -> None:
    service.want("drill.quick", 40)
    service.flush_redis()
    service.kill_redis()
    service.want("drill.quick", 0)
    service.start_redis()
    service.start_worker()
    done_once(service, 40, 90)


def test_a_stopped_broker_stops_no_write(service: Service) -> None:
    service.kill_redis()
    service.want("drill.quick", 10)
    assert service.states() == ["wanted"] * 10
    service.start_redis()
    service.start_worker()
    done_once(service, 10, 25)


@pytest.mark.parametrize(("point", "effects"), [("before", 0), ("after", 5)])
def test_a_crash_before_the_commit_leaves_nothing_and_after_it_everything(
    service: Service, point: str, effects: int
) -> None:
    crash = "import os; os._exit(9)"
    service.python(f"""
from django.db import transaction
from shared import relay
from shared.business.models import Business
from shared.outbox import want
relay.nudge = lambda ids: None
with transaction.atomic():
    for number in range(5):
        want('drill.quick', f'{{number}}', business=Business.objects.get())
    {crash if point == "before" else "pass"}
{crash}
""")
    for _ in range(2):
        service.python(_RUN_ALL)
    assert len(service.effects()) == effects


def test_a_job_that_kills_its_worker_is_given_up_and_the_others_go_on(service: Service) -> None:
    service.start_worker()
    service.want("drill.poison", 1)
    service.want("drill.quick", 3)
    until(lambda: sorted(service.states()) == ["dead", "done", "done", "done"], 40, "the poison is not parked")
    assert len(service.effects()) == 3


def test_eight_runners_of_the_same_rows_have_one_effect_each(service: Service) -> None:
    service.want("drill.quick", 12, "import os; os._exit(0)")
    runners = [
        subprocess.Popen(
            [sys.executable, "-c", PRELOAD + _RUN_ALL], env=service.env, cwd=service.folder, stderr=subprocess.PIPE
        )
        for _ in range(8)
    ]
    for runner in runners:
        _, errors = runner.communicate(timeout=60)
        assert b"locked" not in errors
        assert runner.returncode == 0, errors[-1000:]
    done_once(service, 12, 5)


def test_four_writers_on_sqlite_take_numbers_without_gap_double_or_lock(service: Service) -> None:
    code = """
from django.db import transaction
from shared.business.models import Business
from shared.numbering import next_number
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
