"""An order's way: placed, answered, on the road, counted, sent back, closed; every step an event, every figure reconciled."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from django.db import DatabaseError, transaction

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
from quotes.purchasing.models import Despatch, GoodsReceipt, OrderEvent, OrderResponseLine, SupplierOrder
from quotes.purchasing.order_responses import LineResponseData, OrderResponseData, record_response
from shared.business.actors import Actor
from shared.common.problems import Problem
from shared.models import Business
from tests.conftest import Cast
from tests.quotes.purchasing.cast import drafted, line, now, placed, supplier_actor
from tests.quotes.quoting.cast import actor_of

pytestmark = pytest.mark.django_db
DAY = date(2031, 5, 6)
D = Decimal


@pytest.fixture
def them(cast: Cast) -> Actor:
    return supplier_actor(cast.supplier)


def kinds(order: SupplierOrder) -> list[str]:
    return list(OrderEvent.objects.of(order.business).filter(order=order).order_by("id").values_list("kind", flat=True))


def test_placing_twice_is_placing_once(yard: Business) -> None:
    order = placed(yard)
    services.place(order=order, actor=actor_of(yard))
    assert kinds(order) == ["order.drafted", "order.placed"]
    assert now(order).parties_snapshot["buyer"]["name"] == yard.name


def test_an_order_accepted_whole_and_delivered_is_received_and_closed(yard: Business, them: Actor) -> None:
    order = placed(yard)
    order, _ = record_response(order=order, response=OrderResponseData("R1", "AP", promised_on=DAY), actor=them)
    assert (order.state, order.response_status, order.promised_on) == ("acknowledged", "accepted", DAY)
    order, _, _ = despatch(
        order=order, docket=DespatchData("D1", (DespatchLineData(1, D(10)), DespatchLineData(2, D(500)))), actor=them
    )
    assert order.state == "despatched"
    count = ReceiptData("D1", DAY, (ReceivedLine(1, D(10)), ReceivedLine(2, D(500))))
    order, receipt, _ = receive(order=order, count=count, actor=actor_of(yard))
    assert receipt.despatch is not None
    assert order.state == "received"
    services.close(order=order, actor=actor_of(yard))
    assert kinds(order)[2:] == ["order.acknowledged", "order.despatched", "order.goods_received", "order.closed"]
    sequences = OrderEvent.objects.of(yard).filter(order=order).order_by("id").values_list("sequence", flat=True)
    assert list(sequences) == [1, 2, 3, 4, 5, 6]


def test_the_same_despatch_five_times_is_one(yard: Business, them: Actor) -> None:
    order = placed(yard)
    docket = DespatchData("D1", (DespatchLineData(1, D(4)),))
    fresh = [despatch(order=order, docket=docket, actor=them)[2] for _ in range(5)]
    assert fresh == [True, False, False, False, False]
    assert line(order, 1).in_transit == 4
    assert Despatch.objects.of(yard).count() == 1
    with pytest.raises(Problem, match="was received with other content"):
        despatch(order=order, docket=DespatchData("D1", (DespatchLineData(1, D(5)),)), actor=them)


def test_a_part_back_ordered_stays_outstanding_until_it_comes(yard: Business, them: Actor) -> None:
    order = placed(yard)
    response_lines = (LineResponseData(1, "change", "six are in the works", quantity=D(4), promised_on=DAY),)
    order, _ = record_response(order=order, response=OrderResponseData("R1", "CA", lines=response_lines), actor=them)
    assert order.response_status == "partly_accepted"
    row = line(order, 1)
    assert (row.outstanding, row.cancelled, row.due_on) == (D(10), D(0), DAY)
    despatch(
        order=order,
        docket=DespatchData("D1", (DespatchLineData(1, D(4), "six follow"), DespatchLineData(2, D(500)))),
        actor=them,
    )
    receive(
        order=order,
        count=ReceiptData("D1", DAY, (ReceivedLine(1, D(4)), ReceivedLine(2, D(500)))),
        actor=actor_of(yard),
    )
    row = line(order, 1)
    assert (row.quantity, row.received, row.outstanding) == (D(10), D(4), D(6))
    assert now(order).state == "despatched"
    despatch(order=order, docket=DespatchData("D2", (DespatchLineData(1, D(6)),)), actor=them)
    receive(order=order, count=ReceiptData("D2", DAY, (ReceivedLine(1, D(6)),)), actor=actor_of(yard))
    assert now(order).state == "received"


def test_a_line_refused_is_cancelled_and_no_longer_paid_for(yard: Business, them: Actor) -> None:
    order = placed(yard)  # 10 x 2.50 = 25.00 and 500 x 2.50 = 1250.00, taxed at 10 percent
    refused = (LineResponseData(2, "reject", "no longer made"),)
    order, _ = record_response(order=order, response=OrderResponseData("R1", "CA", lines=refused), actor=them)
    row = line(order, 2)
    assert (row.outstanding, row.cancelled, row.net, row.reason) == (D(0), D(500), D(0), "no longer made")
    assert (order.state, order.response_status, order.goods) == ("acknowledged", "partly_accepted", D("25.00"))
    assert order.tax == (D("25.00") + order.delivery_fee) / 10


def test_a_price_proposed_counts_only_after_the_owners_word(yard: Business, them: Actor) -> None:
    order = placed(yard)
    response_lines = (LineResponseData(1, "change", "steel went up", price=D("2.80")),)
    order, _ = record_response(order=order, response=OrderResponseData("R1", "CA", lines=response_lines), actor=them)
    assert (order.response_status, line(order, 1).price) == ("changed", D("2.50"))
    despatch(
        order=order, docket=DespatchData("D1", (DespatchLineData(1, D(1)),)), actor=them
    )  # nine are left to be decided on
    services.decide(order=order, actor=actor_of(yard), decisions={1: True})
    services.decide(order=order, actor=actor_of(yard), decisions={1: True})
    assert (line(order, 1).price, line(order, 1).net) == (D("2.80"), D("28.00"))
    assert kinds(order).count("order.changes_decided") == 1
    with pytest.raises(Problem, match="have no proposal to decide"):
        services.decide(order=order, actor=actor_of(yard), decisions={1: False})


@pytest.mark.parametrize("road", [despatch, receive])
def test_what_is_all_on_the_road_or_here_goes_as_it_was_ordered(yard: Business, them: Actor, road: Any) -> None:
    order = placed(yard)
    response_lines = (LineResponseData(1, "change", "steel went up", price=D("2.80")),)
    order, _ = record_response(order=order, response=OrderResponseData("R1", "CA", lines=response_lines), actor=them)
    if road is despatch:
        despatch(order=order, docket=DespatchData("D1", (DespatchLineData(1, D(10)),)), actor=them)
    else:
        receive(order=order, count=ReceiptData("unannounced", DAY, (ReceivedLine(1, D(10)),)), actor=actor_of(yard))
    assert OrderResponseLine.objects.of(yard).get(line__position=1).decision == "superseded"
    assert line(order, 1).net == D("25.00")  # 10 x 2.50, not 10 x 2.80
    with pytest.raises(Problem, match="have no proposal to decide"):
        services.decide(order=order, actor=actor_of(yard), decisions={1: True})


def test_fewer_to_be_had_counts_what_is_on_the_road(yard: Business, them: Actor) -> None:
    order = placed(yard)
    despatch(order=order, docket=DespatchData("D1", (DespatchLineData(1, D(4)),)), actor=them)
    three, five = (
        OrderResponseData(
            f"R{number}", "CA", lines=(LineResponseData(1, "change", "no more available", quantity=D(number)),)
        )
        for number in (3, 5)
    )
    with pytest.raises(InvalidDocument, match=r"From 4\S* to 10"):
        record_response(order=order, response=three, actor=them)
    record_response(order=order, response=five, actor=them)
    row = line(order, 1)
    assert (row.outstanding, row.in_transit, row.cancelled) == (D(5), D(4), D(5))


def test_a_rejected_date_leaves_the_line_as_it_was(yard: Business, them: Actor) -> None:
    order = placed(yard)
    record_response(
        order=order,
        response=OrderResponseData("R1", "CA", lines=(LineResponseData(1, "change", promised_on=DAY),)),
        actor=them,
    )
    services.decide(order=order, actor=actor_of(yard), decisions={1: False})
    assert line(order, 1).due_on is None
    assert OrderResponseLine.objects.of(yard).get(line__position=1).decision == "rejected"


def test_a_whole_acceptance_after_changes_is_refused(yard: Business, them: Actor) -> None:
    order = placed(yard)
    record_response(
        order=order,
        response=OrderResponseData("R1", "CA", lines=(LineResponseData(1, "reject", "none left"),)),
        actor=them,
    )
    with pytest.raises(Problem, match="Send code CA with lines"):
        record_response(order=order, response=OrderResponseData("R2", "AP"), actor=them)


def test_the_same_reply_again_changes_nothing_and_another_by_its_number_is_refused(yard: Business, them: Actor) -> None:
    order = placed(yard)
    assert record_response(order=order, response=OrderResponseData("R1", "AP"), actor=them)[1]
    version = now(order).version
    assert not record_response(order=order, response=OrderResponseData("R1", "AP"), actor=them)[1]
    assert now(order).version == version
    with pytest.raises(Problem, match="Use another number"):
        record_response(order=order, response=OrderResponseData("R1", "RE", "full"), actor=them)


def test_an_order_refused_whole_is_cancelled(yard: Business, them: Actor) -> None:
    order, _ = record_response(order=placed(yard), response=OrderResponseData("R1", "RE", "we closed"), actor=them)
    assert (order.state, order.response_status, order.goods) == ("cancelled", "rejected", D(0))
    assert kinds(order)[-1] == "order.rejected"


def test_every_fault_of_a_reply_is_named_at_once(yard: Business, them: Actor) -> None:
    response_lines = (LineResponseData(1, "reject"), LineResponseData(2, "change"), LineResponseData(9, "accept"))
    with pytest.raises(InvalidDocument) as unknown:
        record_response(order=placed(yard), response=OrderResponseData("R1", "CA", lines=response_lines), actor=them)
    assert [fault.pointer for fault in unknown.value.faults] == ["/lines/2/line"]
    with pytest.raises(InvalidDocument) as refused:
        record_response(
            order=placed(yard), response=OrderResponseData("R1", "CA", lines=response_lines[:2]), actor=them
        )
    assert [fault.pointer for fault in refused.value.faults] == ["/lines/0/reason", "/lines/1"]


def test_short_over_and_damaged_are_separate(yard: Business, them: Actor) -> None:
    order = placed(yard)
    despatch(
        order=order, docket=DespatchData("D1", (DespatchLineData(1, D(10)), DespatchLineData(2, D(500)))), actor=them
    )
    # 8 of 10 arrived, 1 of them damaged: 2 are short; 505 of 500: 5 are over
    count = ReceiptData("D1", DAY, (ReceivedLine(1, D(8), D(1)), ReceivedLine(2, D(505))))
    order, receipt, _ = receive(order=order, count=count, actor=actor_of(yard), more_than_docket=True)
    rows = {row.line.position: row for row in receipt.lines.select_related("line")}
    assert (rows[1].short_delivered, rows[1].damaged, rows[2].over_delivered) == (D(2), D(1), D(5))
    assert (line(order, 1).received, line(order, 1).outstanding) == (D(7), D(3))
    assert (line(order, 2).received, line(order, 2).over_delivered) == (D(500), D(5))
    assert order.state == "despatched"


def test_the_same_docket_counted_twice_is_received_once(yard: Business) -> None:
    order = placed(yard)
    count = ReceiptData("by phone", DAY, (ReceivedLine(1, D(10)),))
    assert receive(order=order, count=count, actor=actor_of(yard))[2]
    assert not receive(order=order, count=count, actor=actor_of(yard))[2]
    assert line(order, 1).received == 10
    assert GoodsReceipt.objects.of(yard).count() == 1


def test_what_is_sent_back_to_be_replaced_is_outstanding_again(yard: Business) -> None:
    order = placed(yard, {"rail": "10"})
    receive(order=order, count=ReceiptData("d", DAY, (ReceivedLine(1, D(10)),)), actor=actor_of(yard))
    order, returned = return_goods(
        order=order, line=1, quantity=D(2), replacement_required=True, reason="bent", actor=actor_of(yard)
    )
    assert (order.state, returned.number, line(order, 1).outstanding) == ("despatched", "B0001", D(2))
    with pytest.raises(InvalidDocument, match="Up to 8"):
        return_goods(
            order=order, line=1, quantity=D(9), replacement_required=False, reason="too many", actor=actor_of(yard)
        )


def test_cancelling_the_rest_of_a_part_delivery_ends_the_order(yard: Business) -> None:
    order = placed(yard, {"rail": "10"})
    receive(order=order, count=ReceiptData("d", DAY, (ReceivedLine(1, D(4)),)), actor=actor_of(yard))
    order = services.cancel_outstanding(
        order=order, actor=actor_of(yard), positions=[1], reason="found six in the yard"
    )
    assert (order.state, order.goods) == ("received", D("10.00"))
    assert (line(order, 1).received, line(order, 1).cancelled, line(order, 1).outstanding) == (D(4), D(6), D(0))


def test_what_is_on_the_road_can_not_be_cancelled(yard: Business, them: Actor) -> None:
    order = placed(yard)
    despatch(order=order, docket=DespatchData("D1", (DespatchLineData(1, D(10)),)), actor=them)
    with pytest.raises(Problem, match="despatched can go to: received"):
        services.cancel(order=order, actor=actor_of(yard), reason="changed our mind")


def test_a_cancelled_order_takes_no_reply_and_no_despatch(yard: Business, them: Actor) -> None:
    order = services.cancel(order=placed(yard), actor=actor_of(yard), reason="customer withdrew")
    with pytest.raises(Problem, match="takes no more responses"):
        record_response(order=order, response=OrderResponseData("R1", "AP"), actor=them)
    with pytest.raises(Problem, match="is cancelled"):
        despatch(order=order, docket=DespatchData("D1", (DespatchLineData(1, D(1)),)), actor=them)


def test_an_event_can_be_neither_changed_nor_deleted(yard: Business) -> None:
    order = drafted(yard)
    with pytest.raises(DatabaseError), transaction.atomic():
        OrderEvent.objects.of(yard).filter(order=order).update(text="it never happened")
