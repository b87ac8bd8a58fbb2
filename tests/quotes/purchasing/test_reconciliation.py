"""Whatever is despatched, counted, refused, sent back and cancelled: ordered = received + outstanding + cancelled."""

from __future__ import annotations

from datetime import date
from decimal import ROUND_HALF_UP, Decimal
from typing import Any

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fencing.model.faults import InvalidDocument
from quotes.purchasing import services
from quotes.purchasing.deliveries import (
    DespatchData,
    DespatchLineData,
    ReceiptData,
    ReceivedLine,
    despatch,
    receive,
    return_goods,
)
from quotes.purchasing.models import OrderLine, SupplierOrder
from quotes.purchasing.order_responses import LineResponseData, OrderResponseData, record_response
from quotes.purchasing.order_totals import taxes
from shared.business.actors import Actor
from shared.common.problems import Problem
from shared.models import Business
from tests.conftest import Cast
from tests.quotes.purchasing.cast import placed, supplier_actor
from tests.quotes.quoting.cast import actor_of

pytestmark = pytest.mark.django_db
DAY = date(2031, 5, 6)
amounts = st.integers(1, 12).map(Decimal)
positions = st.integers(1, 2)
steps = st.one_of(
    st.tuples(st.just("despatch"), positions, amounts),
    st.tuples(st.just("receive"), positions, amounts, st.integers(0, 2).map(Decimal)),
    st.tuples(st.just("refuse"), positions),
    st.tuples(st.just("less"), positions, st.integers(0, 9).map(Decimal), st.booleans()),
    st.tuples(st.just("price"), positions, st.decimals("0.01", "9.99", places=2), st.booleans()),
    st.tuples(st.just("back"), positions, amounts, st.booleans()),
    st.tuples(st.just("cut"), positions),
    st.tuples(
        st.just("again"),
    ),
)


def act(order: SupplierOrder, number: int, step: tuple[Any, ...], us: Actor, them: Actor) -> None:
    """One step; what the rules forbid changes nothing."""
    match step:
        case "despatch", position, amount:
            despatch(order=order, docket=DespatchData(f"D{number}", (DespatchLineData(position, amount),)), actor=them)
        case "receive", position, amount, damaged:
            count = ReceiptData(f"D{number - 1}", DAY, (ReceivedLine(position, amount + damaged, damaged),))
            receive(order=order, count=count, actor=us, more_than_docket=True)
        case "refuse", position:
            response_lines = (LineResponseData(position, "reject", "none"),)
            record_response(
                order=order, response=OrderResponseData(f"R{number}", "CA", lines=response_lines), actor=them
            )
        case "less", position, amount, later:
            response_lines = (
                LineResponseData(position, "change", "fewer", quantity=amount, promised_on=DAY if later else None),
            )
            record_response(
                order=order, response=OrderResponseData(f"R{number}", "CA", lines=response_lines), actor=them
            )
        case "price", position, price, agreed:
            response_lines = (LineResponseData(position, "change", "price", price=price),)
            record_response(
                order=order, response=OrderResponseData(f"R{number}", "CA", lines=response_lines), actor=them
            )
            services.decide(order=order, actor=us, decisions={position: agreed})
        case "back", position, amount, replace:
            return_goods(
                order=order, line=position, quantity=amount, replacement_required=replace, reason="bent", actor=us
            )
        case "cut", position:
            services.cancel_outstanding(order=order, actor=us, positions=[position], reason="enough")


def cents(amount: Decimal) -> Decimal:
    return amount.quantize(Decimal("0.01"), ROUND_HALF_UP)


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(steps, min_size=1, max_size=10))
def test_ordered_is_received_and_outstanding_and_cancelled(
    yard: Business, cast: Cast, story: list[tuple[Any, ...]]
) -> None:
    us, them = actor_of(yard), supplier_actor(cast.supplier)
    order = placed(yard, {"rail": "10", "hinge": "8"})
    for number, step in enumerate(story):
        try:
            with transaction.atomic():
                act(order, number, step, us, them)
        except (Problem, InvalidDocument):
            pass
        order.refresh_from_db()
        lines = list(OrderLine.objects.of(yard).filter(order=order))
        for row in lines:
            assert row.quantity == row.received + row.outstanding + row.cancelled
            arrived = sum((receipt.arrived for receipt in row.receipts.all()), Decimal(0))
            replaced = sum((item.quantity for item in row.returns.filter(replacement_required=True)), Decimal(0))
            assert row.received + row.over_delivered + row.damaged + replaced == arrived
            assert row.net == cents((row.quantity - row.cancelled) * row.price)
            credits = [item.credit for item in row.returns.filter(replacement_required=False)]
            assert row.returned == sum(
                (item.quantity for item in row.returns.filter(replacement_required=False)), Decimal(0)
            )
            assert 0 <= row.credited <= min(row.returned, row.received)
            # the price can't change any more once something was credited at it, unless more is still to come
            if row.outstanding == 0 and "price" not in [step[0] for step in story]:
                assert row.net - sum(credits) == cents((row.quantity - row.cancelled - row.credited) * row.price)
        assert order.goods == sum(row.net for row in lines)
        assert order.tax == sum(row.tax for row in taxes(order, lines))
        assert order.total == order.goods + order.delivery_fee + order.tax
        done = all(row.outstanding == 0 for row in lines)
        assert done == (order.state in {"received", "cancelled"})
