"""The web service stops under load: each request that it accepted is answered, and nothing is stored without an answer."""

from __future__ import annotations

import http.client
import json
import threading
import uuid
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit

import pytest

from tests.faults.service import MAX_WAIT_S, Service, started_service, wait_until

pytestmark = [pytest.mark.redis, pytest.mark.slow]
CALLERS = 8
KEY = "from django.core.management import call_command\ncall_command('issue_key', name='drill', role='owner')\n"


@pytest.fixture
def service(tmp_path: Path, database: Path) -> Iterator[Service]:
    with started_service(Service(tmp_path), database) as service:
        yield service


class Caller(threading.Thread):
    """Client that creates customers, each over its own connection, until the service does not accept one."""

    def __init__(self, index: int, address: str, key: str) -> None:
        super().__init__()
        self._index, self._host, self._key = index, urlsplit(address).netloc, key
        self.answered: dict[str, int] = {}
        self.unanswered: list[str] = []

    def run(self) -> None:
        """Create customers and note the status of each."""
        for number in range(10_000):
            name = f"Caller {self._index}-{number}"
            line = http.client.HTTPConnection(self._host, timeout=MAX_WAIT_S)
            try:
                line.connect()
            except OSError:
                return  # the service has stopped
            try:
                line.request("POST", "/api/v1/customers", json.dumps({"name": name}), self._headers())
                self.answered[name] = line.getresponse().status
            except OSError:
                self.unanswered.append(name)  # in the queue of the port, never accepted
                return
            finally:
                line.close()

    def _headers(self) -> dict[str, str]:
        return {
            "Authorization": f"Bearer {self._key}",
            "Content-Type": "application/json",
            "Idempotency-Key": uuid.uuid4().hex,
        }


def test_a_web_service_that_stops_answers_every_accepted_request(service: Service) -> None:
    key = next(word for word in service.python(KEY).split() if word.startswith("bwl_"))
    address = service.start_web()
    web = service.processes[-1]
    callers = [Caller(index, address, key) for index in range(CALLERS)]
    for caller in callers:
        caller.start()
    wait_until(lambda: sum(len(caller.answered) for caller in callers) > 2 * CALLERS, "no request is answered")
    web.terminate()
    assert web.wait(timeout=MAX_WAIT_S) == 0
    for caller in callers:
        caller.join(timeout=MAX_WAIT_S)
    answered = {name: status for caller in callers for name, status in caller.answered.items()}
    assert set(answered.values()) == {201}
    stored = {name for (name,) in service.rows("SELECT name FROM jobs_customer WHERE name LIKE 'Caller %'")}
    # each answered customer is stored, and each accepted request is answered
    assert stored == set(answered), [name for caller in callers for name in caller.unanswered]
