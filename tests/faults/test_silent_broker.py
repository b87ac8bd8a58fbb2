"""A Redis that hangs: it accepts connections and never responds. Orders are saved anyway, and no task is lost."""

from __future__ import annotations

import json
import shutil
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

from shared.background import runner
from shared.web import rate_limit
from tests.faults.service import MAX_WAIT_S, Service, wait_until
from tests.template_database import sqlite_template

pytestmark = [pytest.mark.redis, pytest.mark.slow]
ORDERS = 8
PAUSE_S = min(runner._PAUSE_S, rate_limit._REST_S)
"""Pause after a broker that does not respond, before it is tried again."""

START = """
import json
from django.core.management import call_command
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
    with Service(tmp_path) as service:
        shutil.copy(sqlite_template(), tmp_path / "drill.sqlite3")
        yield service


@contextmanager
def silent_server(port: int) -> Iterator[list[socket.socket]]:
    """Accept every connection and never respond. Yield the list of the connections."""
    connections: list[socket.socket] = []
    with socket.socket() as server:
        server.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        server.bind(("127.0.0.1", port))
        server.listen(64)
        server.settimeout(0.1)
        stopped = threading.Event()

        def accept() -> None:
            while not stopped.is_set():
                try:
                    connections.append(server.accept()[0])
                except TimeoutError:
                    continue

        acceptor = threading.Thread(target=accept)
        acceptor.start()
        try:
            yield connections
        finally:
            stopped.set()
            acceptor.join()
            for connection in connections:
                connection.close()


def create_order(address: str, key: str, body: dict[str, Any]) -> None:
    """Create an order by the API."""
    headers = {
        "Authorization": f"Bearer {key}",
        "Content-Type": "application/json",
        "Idempotency-Key": uuid.uuid4().hex,
    }
    request = urllib.request.Request(f"{address}/api/v1/orders", json.dumps(body).encode(), headers)  # noqa: S310 - our own service
    with urllib.request.urlopen(request, timeout=MAX_WAIT_S) as response:  # noqa: S310
        assert response.status == 201


def test_a_broker_that_never_responds_delays_no_order_and_loses_nothing(service: Service) -> None:
    lines = service.python(START).splitlines()
    key = next(word for word in " ".join(lines).split() if word.startswith("bwl_"))
    body = json.loads(lines[-1])
    service.start_redis()
    address = service.start_web()
    create_order(address, key, body)
    service.kill_redis()
    with silent_server(service.port) as connections:
        started = time.monotonic()
        for _ in range(ORDERS):
            create_order(address, key, body)
        ended_pauses = int((time.monotonic() - started) // PAUSE_S)
    # each try waits half a second: one for the rate limit and one for the task, then none until the pause ends
    assert 1 <= len(connections) <= 2 * (1 + ended_pauses)
    assert service.rows("SELECT count(*) FROM shared_event WHERE kind = 'order.event'") == [(1 + ORDERS,)]
    assert set(service.states()) == {"queued"}
    service.start_redis()
    with redis.Redis(port=service.port) as broker:

        def is_notified() -> bool:
            create_order(address, key, body)
            return bool(broker.llen("celery"))

        wait_until(is_notified, "the same web process does not notify the broker again after its pause")
    service.start_worker()
    wait_until(lambda: set(service.states()) == {"done"}, "not every task is done")
    assert service.rows("SELECT max(starts) FROM shared_outboxtask") == [(1,)]
