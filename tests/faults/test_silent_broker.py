"""A Redis that hangs: it takes connections and never answers. Orders are written all the same, and nothing wanted is lost."""

from __future__ import annotations

import json
import socket
import threading
import time
import urllib.request
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
import redis

from tests.faults.service import Service, until

pytestmark = [pytest.mark.redis, pytest.mark.slow]
ORDERS = 8
BOUND_S = 1.0  # half a second each for the counter of calls and for the nudge, once; then both rest

START = """
import json
from django.core.management import call_command
call_command('migrate', verbosity=0)
from catalogue.models import SupplierPrice
from quotes.office.demo_data import load_business, scenario
business = load_business(scenario()['business'])
from shared.background.outbox import OutboxTask
OutboxTask.objects.all().delete()
offer = SupplierPrice.objects.of(business).select_related('supplier', 'component').order_by('id').first()
call_command('issue_key', name='drill', role='owner')
line = {'component': offer.component.sku, 'quantity': '10', 'price': '2.50'}
print(json.dumps({'supplier': offer.supplier.code, 'lines': [line]}))
"""


@pytest.fixture
def service(tmp_path: Path) -> Iterator[Service]:
    with Service(tmp_path) as made:
        yield made


@contextmanager
def silent(port: int) -> Iterator[list[socket.socket]]:
    """Takes every connection and says nothing; the connections it took."""
    held: list[socket.socket] = []
    with socket.socket() as door:
        door.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        door.bind(("127.0.0.1", port))
        door.listen(64)
        door.settimeout(0.1)
        over = threading.Event()

        def take() -> None:
            while not over.is_set():
                try:
                    held.append(door.accept()[0])
                except TimeoutError:
                    continue

        taker = threading.Thread(target=take)
        taker.start()
        try:
            yield held
        finally:
            over.set()
            taker.join()
            for connection in held:
                connection.close()


def ordered(address: str, key: str, body: dict[str, Any]) -> float:
    """Seconds until a new order was answered 201."""
    headers = {
        "Authorization": f"Bearer {key}",
        "Content-Type": "application/json",
        "Idempotency-Key": uuid.uuid4().hex,
    }
    asked = urllib.request.Request(f"{address}/api/v1/orders", json.dumps(body).encode(), headers)  # noqa: S310 - our own service
    began = time.perf_counter()
    with urllib.request.urlopen(asked, timeout=30) as answer:  # noqa: S310
        assert answer.status == 201
    return time.perf_counter() - began


def test_a_broker_that_never_answers_holds_no_order_up_and_loses_nothing(service: Service) -> None:
    data = service.python(START).splitlines()
    key = next(word for word in " ".join(data).split() if word.startswith("bwl_"))
    body = json.loads(data[-1])
    service.start_redis()
    address = service.start_web()
    normal = max(ordered(address, key, body) for _ in range(ORDERS))
    service.kill_redis()
    with silent(service.port) as held:
        hanging = [ordered(address, key, body) for _ in range(ORDERS)]
    assert held, "the broker was asked"
    assert max(hanging) <= 2 * normal + BOUND_S, (normal, hanging)
    assert sorted(hanging)[-3] <= 2 * normal + 0.1, "whoever comes after the first waits for nothing"
    assert service.rows("SELECT count(*) FROM shared_event WHERE kind = 'order.event'") == [(2 * ORDERS,)]
    assert set(service.states()) == {"wanted"}
    service.start_redis()
    with redis.Redis(port=service.port) as broker:
        # the same web service carries nudges again, once it has rested
        until(lambda: ordered(address, key, body) > 0 and bool(broker.llen("celery")), 20, "nothing is nudged")
    service.start_worker()
    until(lambda: set(service.states()) == {"done"}, 30, "not everything that was wanted is done")
    assert service.rows("SELECT max(starts) FROM shared_outboxtask") == [(1,)]
