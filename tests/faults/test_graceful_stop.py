"""The web service is told to stop under load: whatever it began is finished and answered, and nothing is stored unanswered."""

from __future__ import annotations

import http.client
import json
import threading
import uuid
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit

import pytest

from tests.faults.service import Service, until
from tests.faults.test_drills import START

pytestmark = [pytest.mark.redis, pytest.mark.slow]
CALLERS = 8
KEY = "from django.core.management import call_command\ncall_command('issue_key', name='drill', role='owner')\n"


@pytest.fixture
def service(tmp_path: Path) -> Iterator[Service]:
    with Service(tmp_path) as made:
        made.start_redis()
        yield made


class Caller(threading.Thread):
    """Adds one customer after the other, each by a connection of its own, until nobody takes it."""

    def __init__(self, place: int, address: str, key: str) -> None:
        super().__init__()
        self._place, self._host, self._key = place, urlsplit(address).netloc, key
        self.answered: dict[str, int] = {}
        self.unanswered: list[str] = []

    def run(self) -> None:
        for number in range(10_000):
            name = f"Caller {self._place}-{number}"
            line = http.client.HTTPConnection(self._host, timeout=30)
            try:
                line.connect()
            except OSError:
                return  # the door is shut
            try:
                line.request("POST", "/api/v1/customers", json.dumps({"name": name}), self._headers())
                self.answered[name] = line.getresponse().status
            except OSError:
                self.unanswered.append(name)  # in the queue before the door, never let in
                return
            finally:
                line.close()

    def _headers(self) -> dict[str, str]:
        return {
            "Authorization": f"Bearer {self._key}",
            "Content-Type": "application/json",
            "Idempotency-Key": uuid.uuid4().hex,
        }


def test_a_web_service_told_to_stop_answers_everything_it_began(service: Service) -> None:
    key = next(word for word in service.python(START + KEY).split() if word.startswith("bwl_"))
    address = service.start_web()
    web = service.processes[-1]
    callers = [Caller(place, address, key) for place in range(CALLERS)]
    for caller in callers:
        caller.start()
    until(lambda: sum(len(caller.answered) for caller in callers) > 2 * CALLERS, 60, "nobody is answered")
    web.terminate()
    assert web.wait(timeout=35) == 0
    for caller in callers:
        caller.join(timeout=40)
    answered = {name: status for caller in callers for name, status in caller.answered.items()}
    assert set(answered.values()) == {201}
    kept = {name for (name,) in service.rows("SELECT name FROM jobs_customer WHERE name LIKE 'Caller %'")}
    # nobody was answered for nothing, and nobody who was let in was left without an answer
    assert kept == set(answered), [name for caller in callers for name in caller.unanswered]
