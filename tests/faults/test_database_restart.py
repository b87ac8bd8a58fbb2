"""PostgreSQL restarts during requests and tasks: answered changes are stored, and each document is made once."""

from __future__ import annotations

import json
import threading
import time
import urllib.error
import urllib.request
import uuid
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.faults.service import MAX_WAIT_S, Postgres, Service, wait_until
from tests.faults.test_documents import QUEUE, START, Press, assert_each_made_once, is_rendering

pytestmark = [pytest.mark.redis, pytest.mark.slow]
MIGRATE = """
from django.core.management import call_command
call_command('migrate', verbosity=0)
"""
RATE = 20
CREATED = 201
UNAVAILABLE = 503
NO_ANSWER = 599


@pytest.fixture
def service(tmp_path: Path) -> Iterator[Service]:
    with Press(tmp_path, Postgres()) as service:
        service.python(MIGRATE + START)
        service.start_redis()
        yield service


@dataclass(frozen=True)
class Call:
    """A request for a new customer, with the times it was sent and answered."""

    sent_at: float
    answered_at: float
    status: int
    name: str


class Callers(threading.Thread):
    """Client that creates twenty customers a second, each with its own idempotency key, and notes the answers."""

    def __init__(self, address: str, key: str) -> None:
        super().__init__()
        self._address, self._key = f"{address}/api/v1/customers", key
        self._stopped = threading.Event()
        self.calls: list[Call] = []

    def run(self) -> None:
        """Send requests until the end."""
        threads: list[threading.Thread] = []
        while not self._stopped.wait(1 / RATE):
            threads.append(threading.Thread(target=self._call, args=(len(threads),)))
            threads[-1].start()
        for thread in threads:
            thread.join()

    def end(self) -> None:
        """Stop, and wait for the last answers."""
        self._stopped.set()
        self.join()

    def _call(self, number: int) -> None:
        sent_at, name = time.monotonic(), f"Caller {number}"
        headers = {
            "Authorization": f"Bearer {self._key}",
            "Content-Type": "application/json",
            "Idempotency-Key": uuid.uuid4().hex,
        }
        request = urllib.request.Request(  # noqa: S310 - the drill's own service
            self._address, json.dumps({"name": name}).encode(), headers
        )
        try:
            with urllib.request.urlopen(request, timeout=MAX_WAIT_S) as response:  # noqa: S310
                status = response.status
        except urllib.error.HTTPError as refused:
            status = refused.code
        except OSError:
            status = NO_ANSWER
        self.calls.append(Call(sent_at, time.monotonic(), status, name))


def test_a_database_that_restarts_loses_no_answered_change_and_no_task(service: Service) -> None:
    assert service.postgres is not None
    issue = "from django.core.management import call_command\ncall_command('issue_key', name='drill', role='owner')"
    key = next(word for word in service.python(issue).split() if word.startswith("bwl_"))
    callers = Callers(service.start_web(), key)
    callers.start()
    try:
        wait_until(lambda: len(callers.calls) > RATE, "no request is answered")
        service.python(QUEUE)
        worker = service.start_worker()  # only now: otherwise all documents might be made before the next line
        wait_until(lambda: is_rendering(service), "no document is started")
        down = time.monotonic()
        service.postgres.restart()
        up = time.monotonic()
        wait_until(lambda: sum(call.sent_at > up for call in callers.calls) > 2 * RATE, "no request is answered")
    finally:
        callers.end()

    failed = [call for call in callers.calls if call.status != CREATED]
    # a request fails only if it was being answered while the database was down; connections are checked before use
    assert all(call.answered_at >= down and call.sent_at <= up for call in failed), failed
    assert all(call.status in (UNAVAILABLE, NO_ANSWER) for call in failed), failed
    answered = {call.name for call in callers.calls if call.status == CREATED}
    stored = [name for (name,) in service.rows("SELECT name FROM jobs_customer WHERE name LIKE 'Caller %'")]
    assert answered <= set(stored), "an answered customer is missing"
    assert len(stored) == len(set(stored))

    assert_each_made_once(service)
    assert worker.poll() is None, "the worker runs on"
