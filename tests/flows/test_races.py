"""Requests that follow each other at once while workers run, on PostgreSQL: every one is answered, none with 500.

The number of rounds is small here; RACE_ROUNDS=200 in the environment makes the long run.
"""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from queue import Queue
from threading import Barrier, Thread
from typing import Any

import pytest
from django.db import connection
from django.test import Client

from quotes.jobs.models import Job
from quotes.purchasing.models import SupplierOrder
from quotes.quoting import signed_links
from quotes.quoting.models import Revision, SignedLink
from shared.background import runner
from shared.business.models import Person
from tests.conftest import Cast
from tests.quotes.purchasing.cast import ONE, agreed_job
from tests.quotes.quoting.cast import drafted, measure, stock_up

pytestmark = [pytest.mark.postgres, pytest.mark.django_db(transaction=True)]
ROUNDS = int(os.environ.get("RACE_ROUNDS", "6"))
SignedIn = Callable[[Person], Client]


@pytest.fixture(autouse=True)
def no_limit(settings: Any) -> None:
    """Lift the rate limit, because the long run makes more calls a minute than it allows."""
    settings.RATE_QUOTA = 100_000


@pytest.fixture
def workers(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Start two workers that run new tasks in threads with connections of their own."""
    waiting: Queue[int | None] = Queue()

    def run_soon(task_ids: Iterable[int]) -> None:
        for task_id in task_ids:
            waiting.put(task_id)

    def work() -> None:
        while (task_id := waiting.get()) is not None:
            runner.run(task_id)
        connection.close()

    monkeypatch.setattr(runner, "run_soon", run_soon)
    threads = [Thread(target=work) for _ in range(2)]
    for thread in threads:
        thread.start()
    yield
    while not waiting.empty():
        waiting.get_nowait()
    for _ in threads:
        waiting.put(None)
    for thread in threads:
        thread.join(timeout=120)


def post(client: Client, path: str, body: Any, key: str = "") -> int:
    headers = {"If-Match": "*", **({"Idempotency-Key": key} if key else {})}
    answer = client.post(f"/api/v1/{path}", body, content_type="application/json", headers=headers)
    return int(answer.status_code)


@pytest.mark.usefixtures("workers")
def test_an_acceptance_right_after_sending_is_stored(cast: Cast, signed_in: SignedIn) -> None:
    stock_up(cast.business)
    estimator, customer = signed_in(cast.estimator), Client(raise_request_exception=False)
    estimator.raise_request_exception = False
    outcomes = Counter[tuple[int, int]]()
    for number in range(ROUNDS):
        draft = drafted(cast.business, {"parties": ONE}, measure(2400))
        sent = post(estimator, f"revisions/{draft.ref}/send", {}, f"send-{number}")
        link = SignedLink.objects.of(cast.business).get(revision=draft)
        sha256 = Revision.objects.of(cast.business).get(pk=draft.pk).content_sha256
        token = signed_links.token_of(link.ref, link.content_sha256)
        accepted = post(customer, f"quote-links/{token}/accept", {"name": "Ada", "content_sha256": sha256})
        outcomes[sent, accepted] += 1
    assert outcomes == {(200, 201): ROUNDS}


@pytest.mark.usefixtures("workers")
def test_an_order_right_after_the_acceptance_is_stored(cast: Cast, signed_in: SignedIn) -> None:
    stock_up(cast.business)
    owner = signed_in(cast.owner)
    owner.raise_request_exception = False
    outcomes = Counter[int]()
    for number in range(ROUNDS):
        job = agreed_job(cast.business, 2400)
        outcomes[post(owner, "orders/for-jobs", {"jobs": [job.ref]}, f"order-{number}")] += 1
    assert outcomes == {201: ROUNDS}


def test_fifty_orders_with_one_key_are_one_order(cast: Cast, signed_in: SignedIn) -> None:
    stock_up(cast.business)
    job = agreed_job(cast.business, 2400)
    clients = [signed_in(cast.owner) for _ in range(50)]
    start = Barrier(len(clients))

    def order(client: Client) -> int:
        client.raise_request_exception = False
        start.wait(timeout=60)
        try:
            return post(client, "orders/for-jobs", {"jobs": [job.ref]}, "one-key")
        finally:
            connection.close()

    with ThreadPoolExecutor(len(clients)) as pool:
        outcomes = Counter(pool.map(order, clients))
    assert set(outcomes) <= {201, 409}
    assert outcomes[201] >= 1
    orders = SupplierOrder.objects.of(cast.business)
    assert (
        orders.filter(lines__jobs__job=Job.objects.of(cast.business).get(pk=job.pk)).distinct().count()
        == orders.count()
    )
    assert post(clients[0], "orders/for-jobs", {"jobs": [job.ref]}, "one-key") == 201
