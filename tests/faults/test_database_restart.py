"""PostgreSQL ends in the middle of calls and renders: what was answered stands, what was wanted is made once."""

from __future__ import annotations

import json
import threading
import time
import urllib.error
import urllib.request
import uuid
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.faults.service import Postgres, Service, until
from tests.faults.test_documents import START, WANT, Press, each_made_once, leased

pytestmark = [pytest.mark.redis, pytest.mark.slow]
RATE = 20
RECOVERY_S = 5.0
CREATED = 201
UNAVAILABLE = 503
NO_ANSWER = 599


@pytest.fixture
def service(tmp_path: Path) -> Iterator[Service]:
    with Press(tmp_path, Postgres()) as made:
        made.python(START)
        made.start_redis()
        yield made


class Callers(threading.Thread):
    """Twenty new customers a second, each call with its own idempotency key; what was answered, and when."""

    def __init__(self, address: str, key: str) -> None:
        super().__init__()
        self._address, self._key = f"{address}/api/v1/customers", key
        self._stop_asked = threading.Event()
        self.answers: list[tuple[float, int, str]] = []

    def run(self) -> None:
        calls: list[threading.Thread] = []
        while not self._stop_asked.wait(1 / RATE):
            calls.append(threading.Thread(target=self._call, args=(len(calls),)))
            calls[-1].start()
        for call in calls:
            call.join()

    def end(self) -> None:
        self._stop_asked.set()
        self.join()

    def _call(self, number: int) -> None:
        began, name = time.monotonic(), f"Caller {number}"
        headers = {
            "Authorization": f"Bearer {self._key}",
            "Content-Type": "application/json",
            "Idempotency-Key": uuid.uuid4().hex,
        }
        asked = urllib.request.Request(  # noqa: S310 - the drill's own service
            self._address, json.dumps({"name": name}).encode(), headers
        )
        try:
            with urllib.request.urlopen(asked, timeout=30) as answer:  # noqa: S310
                status = answer.status
        except urllib.error.HTTPError as refused:
            status = refused.code
        except OSError:
            status = NO_ANSWER
        self.answers.append((began, status, name))


def test_a_database_that_ends_at_once_loses_nothing_that_was_answered_or_wanted(service: Service) -> None:
    assert service.postgres is not None
    issued = "from django.core.management import call_command\ncall_command('issue_key', name='drill', role='owner')"
    key = next(word for word in service.python(issued).split() if word.startswith("bwl_"))
    callers = Callers(service.start_web(), key)
    callers.start()
    try:
        until(lambda: len(callers.answers) > RATE, 40, "nobody is answered")
        service.python(WANT)
        worker = service.start_worker()  # only now, or all might be made before anybody looks
        until(lambda: leased(service), 40, "no render begins")
        down = time.monotonic()
        service.postgres.restart()
        up = time.monotonic()
        time.sleep(RECOVERY_S + 2)
    finally:
        callers.end()

    failed = [(began, status) for began, status, _ in callers.answers if status != CREATED]
    # a call is in flight for a moment before and until the database is up; a connection is looked at before it is used again
    assert all(down - 1 <= began <= up + RECOVERY_S for began, _ in failed), failed
    assert all(status in (UNAVAILABLE, NO_ANSWER) for _, status in failed), failed
    assert sum(began > up for began, status, _ in callers.answers if status == CREATED) > RATE
    answered = {name for _, status, name in callers.answers if status == CREATED}
    kept = [name for (name,) in service.rows("SELECT name FROM jobs_customer WHERE name LIKE 'Caller %'")]
    assert answered <= set(kept), "a customer that was answered for is missing"
    assert len(kept) == len(set(kept))

    each_made_once(service)
    assert worker.poll() is None, "the worker lives on"
