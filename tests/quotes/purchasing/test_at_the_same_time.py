"""Many at once on PostgreSQL: one outcome, nothing doubled, numbers without gaps."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from decimal import Decimal
from threading import Barrier
from typing import Any

import pytest
from django.db import connection

from quotes.purchasing import services
from quotes.purchasing.deliveries import DespatchData, DespatchLineData, despatch
from quotes.purchasing.models import Despatch, OrderEvent, SupplierOrder
from quotes.purchasing.order_responses import OrderResponseData, record_response
from shared.common.problems import Problem
from shared.models import Business
from tests.conftest import Cast
from tests.quotes.purchasing.cast import drafted, line, now, placed, supplier_actor
from tests.quotes.quoting.cast import actor_of

pytestmark = [pytest.mark.postgres, pytest.mark.django_db(transaction=True)]


def together(*jobs: Callable[[], Any]) -> list[Any]:
    """Return the result or problem of each call, all started at the same moment."""
    start = Barrier(len(jobs))

    def run(job: Callable[[], Any]) -> Any:
        start.wait(timeout=20)
        try:
            return job()
        except Problem as problem:
            return problem
        finally:
            connection.close()

    with ThreadPoolExecutor(len(jobs)) as pool:
        return list(pool.map(run, jobs))


def count(order: SupplierOrder, kind: str) -> int:
    return OrderEvent.objects.of(order.business).filter(order=order, kind=kind).count()


def test_eight_people_place_one_order_and_it_is_placed_once(yard: Business) -> None:
    order = drafted(yard)
    answers = together(*[lambda: services.place(order=order, actor=actor_of(yard))] * 8)
    assert {answer.state for answer in answers} == {"placed"}
    assert count(order, "order.placed") == 1


@pytest.mark.parametrize("round_", range(5))
def test_a_supplier_acknowledges_while_the_owner_cancels(yard: Business, cast: Cast, round_: int) -> None:
    order = placed(yard)
    them = supplier_actor(cast.supplier)
    reply, cancelled = together(
        lambda: record_response(order=order, response=OrderResponseData(f"R{round_}", "AP"), actor=them),
        lambda: services.cancel(order=order, actor=actor_of(yard), reason="withdrawn"),
    )
    assert cancelled.state == "cancelled"
    assert now(order).state == "cancelled"
    # the response came first and was superseded, or came second and was rejected
    assert isinstance(reply, Problem) == (count(order, "order.acknowledged") == 0)
    assert count(order, "order.cancelled") == 1


def test_the_same_despatch_sent_by_eight_is_one(yard: Business, cast: Cast) -> None:
    order = placed(yard)
    docket = DespatchData("D1", (DespatchLineData(1, Decimal(4)),))
    them = supplier_actor(cast.supplier)
    answers = together(*[lambda: despatch(order=order, docket=docket, actor=them)] * 8)
    assert sorted(answer[2] for answer in answers) == [False] * 7 + [True]
    assert line(order, 1).in_transit == 4
    assert Despatch.objects.of(yard).count() == 1


def test_orders_drafted_by_eight_are_numbered_one_to_eight(yard: Business) -> None:
    answers = together(*[lambda: drafted(yard)] * 8)
    assert sorted(order.number for order in answers) == [f"O{number:04d}" for number in range(1, 9)]


def test_events_of_a_business_have_ids_in_the_order_they_can_be_read(yard: Business) -> None:
    orders = [drafted(yard) for _ in range(6)]
    seen: list[int] = []

    def watch() -> None:
        for _ in range(200):
            ids = OrderEvent.objects.of(yard).filter(id__gt=seen[-1] if seen else 0).order_by("id")
            seen.extend(ids.values_list("id", flat=True))

    together(watch, *[lambda order=order: services.place(order=order, actor=actor_of(yard)) for order in orders])
    watch()
    # nothing was committed behind what had been read already
    assert seen == list(OrderEvent.objects.of(yard).order_by("id").values_list("id", flat=True))
