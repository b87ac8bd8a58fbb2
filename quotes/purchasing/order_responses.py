"""Records a supplier's order response, from JSON or a UBL OrderResponse."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import date
from decimal import Decimal
from typing import Any

from django.db import transaction

from catalogue.rules.codes import whole_fault
from fencing.model.faults import Fault, InvalidDocument
from quotes.purchasing import order_totals
from quotes.purchasing.models import (
    Decision,
    LineAction,
    OrderLine,
    OrderResponse,
    OrderResponseLine,
    OrderResponseStatus,
    OrderState,
    SupplierOrder,
)
from quotes.purchasing.order_events import lines_of, locked, move, note
from quotes.purchasing.services import OPEN, lines_by_position, reduce_line, supersede_proposals, update_order_state
from shared.business.actors import Actor
from shared.common.json_encoder import write_json
from shared.common.money import stated
from shared.common.problems import Problem

ZERO = Decimal(0)
RECEIVED, ACCEPTED, REJECTED, CONDITIONAL = "AB", "AP", "RE", "CA"
BY_LINE = frozenset({OrderResponseStatus.PARTLY_ACCEPTED, OrderResponseStatus.CHANGED})


@dataclass(frozen=True, slots=True)
class LineResponseData:
    """One line of a response. ``quantity`` is what is available now, including what is in transit.

    The rest is back-ordered to ``promised_on``, or rejected if there is no date.
    """

    line: int
    action: str
    reason: str = ""
    quantity: Decimal | None = None
    price: Decimal | None = None
    promised_on: date | None = None


@dataclass(frozen=True, slots=True)
class OrderResponseData:
    """A whole response. ``number`` is the supplier's own; it identifies a response that is sent again."""

    number: str
    code: str
    note: str = ""
    promised_on: date | None = None
    lines: tuple[LineResponseData, ...] = ()


def fingerprint(value: Any) -> str:
    """Return the digest of a message: the same number with other content is rejected."""
    return hashlib.sha256(write_json(asdict(value))).hexdigest()


@transaction.atomic
def record_response(*, order: SupplierOrder, response: OrderResponseData, actor: Actor) -> tuple[SupplierOrder, bool]:
    """Record a response and return whether it is new. A different price or date waits for the owner's decision."""
    order = locked(order)
    sha256 = fingerprint(response)
    before = OrderResponse.objects.of(order.business).filter(order=order, number=response.number).first()
    if before is not None:
        if before.sha256 != sha256:
            raise Problem(
                "conflict", f"Response {response.number} was received with other content. Use another number."
            )
        return order, False
    if order.state not in OPEN:
        raise Problem("conflict", f"Order {order.number} is {order.state}; it takes no more responses.")
    _check_code(order, response)
    reply = OrderResponse.objects.of(order.business).create(
        order=order,
        number=response.number,
        code=response.code,
        note=response.note,
        promised_on=response.promised_on,
        sha256=sha256,
    )
    lines = lines_of(order)
    if response.code == RECEIVED:
        note(
            order,
            "order.receipt_confirmed",
            f"{order.supplier.name} confirmed receipt of the order.",
            actor,
            {"reply": response.number},
        )
        return order, True
    if response.code == REJECTED:
        _reject_all(order, reply, lines, response)
    elif response.code == ACCEPTED:
        _accept_all(order, reply, lines, response)
    else:
        _record_lines(order, reply, lines, response)
    order_totals.store(order, lines)
    update_order_state(order, lines)
    kind = "order.rejected" if order.response_status == OrderResponseStatus.REJECTED else "order.acknowledged"
    facts = {
        "reply": response.number,
        "code": response.code,
        "response_status": order.response_status,
        "lines": [_details(line, order.currency) for line in response.lines],
    }
    note(order, kind, f"{order.supplier.name}: {order.response_status}. {response.note}".strip(), actor, facts)
    return order, True


def _details(item: LineResponseData, currency: str) -> dict[str, Any]:
    price = "" if item.price is None else stated(item.price, currency)
    return {name: str(value) if value not in (None, "") else "" for name, value in asdict(item).items()} | {
        "price": price
    }


def _check_code(order: SupplierOrder, response: OrderResponseData) -> None:
    if response.code == CONDITIONAL and not response.lines:
        raise InvalidDocument(
            [Fault("/lines", "PEPPOL-T76-R007", "A response with code CA lists the lines that change.")]
        )
    if response.code != CONDITIONAL and response.lines:
        raise InvalidDocument(
            [Fault("/lines", "PEPPOL-T76-R008", f"A response with code {response.code} has no lines. Send code CA.")]
        )
    if response.code == ACCEPTED and order.response_status in BY_LINE:
        raise Problem(
            "conflict", "After a response with changes you cannot accept the whole order. Send code CA with lines."
        )
    if (
        response.code == REJECTED and order.state == OrderState.DESPATCHED
    ):  # refused lines are cancelled, not goods on the road
        raise Problem("conflict", "Part of the order is despatched. Reject lines with code CA.")


def _reject_all(
    order: SupplierOrder, reply: OrderResponse, lines: Sequence[OrderLine], response: OrderResponseData
) -> None:
    for line in lines:
        _save(reply, line, LineResponseData(line.position, LineAction.REJECT, response.note or "rejected"))
        reduce_line(line, line.outstanding, response.note or "rejected by the supplier")
    supersede_proposals(order)
    order.response_status = OrderResponseStatus.REJECTED


def _accept_all(
    order: SupplierOrder, reply: OrderResponse, lines: Sequence[OrderLine], response: OrderResponseData
) -> None:
    for line in lines:
        _save(reply, line, LineResponseData(line.position, LineAction.ACCEPT, promised_on=response.promised_on))
    order.response_status, order.promised_on = OrderResponseStatus.ACCEPTED, response.promised_on
    _acknowledge(order)


def _acknowledge(order: SupplierOrder) -> None:
    if order.state == OrderState.PLACED:
        move(order, OrderState.ACKNOWLEDGED)


def _record_lines(
    order: SupplierOrder, reply: OrderResponse, lines: list[OrderLine], response: OrderResponseData
) -> None:
    named = lines_by_position(lines, [item.line for item in response.lines])
    pairs = [(line, _only_changes(line, item)) for line, item in zip(named, response.lines, strict=True)]
    _check_lines(pairs)
    supersede_proposals(order, named)
    for line, item in pairs:
        _record_line(reply, line, item)
    before, order.response_status = order.response_status, _response_status(order, [item for _, item in pairs])
    if response.promised_on:
        order.promised_on = response.promised_on
    elif order.response_status in BY_LINE and before not in BY_LINE:
        order.promised_on = _day_of_changes(order)
    _acknowledge(order)


def _check_lines(pairs: Sequence[tuple[OrderLine, LineResponseData]]) -> None:
    faults = [
        fault for index, (line, item) in enumerate(pairs) for fault in _line_faults(line, item, f"/lines/{index}")
    ]
    if faults:
        raise InvalidDocument(faults)


def _only_changes(line: OrderLine, item: LineResponseData) -> LineResponseData:
    """Return a change without the unchanged values that UBL repeats. The digest is made before, so that a document that is
    sent again has the same digest."""
    if item.action != LineAction.CHANGE:
        return item
    quantity = None if item.quantity == line.outstanding else item.quantity
    return replace(item, quantity=quantity, price=None if item.price == line.price else item.price)


def _day_of_changes(order: SupplierOrder) -> date | None:
    """Return the date of the last response by line. A date of an earlier acceptance of the whole order no longer holds."""
    rows = OrderResponse.objects.of(order.business).filter(order=order, code=CONDITIONAL, promised_on__isnull=False)
    return rows.order_by("-id").values_list("promised_on", flat=True).first()


def _response_status(order: SupplierOrder, items: Sequence[LineResponseData]) -> OrderResponseStatus:
    """Return the status after a response: changed comes before partly accepted, which comes before accepted."""
    if any(item.price is not None or (item.promised_on and item.quantity is None) for item in items):
        return OrderResponseStatus.CHANGED
    if order.response_status == OrderResponseStatus.CHANGED:
        return OrderResponseStatus.CHANGED
    if all(item.action == LineAction.ACCEPT for item in items):
        return OrderResponseStatus(
            OrderResponseStatus.ACCEPTED if order.response_status == OrderResponseStatus.NONE else order.response_status
        )
    return OrderResponseStatus.PARTLY_ACCEPTED


def _line_faults(line: OrderLine, item: LineResponseData, at: str) -> list[Fault]:
    match item.action:
        case LineAction.REJECT:
            return list(_rejection_faults(line, item, at))
        case LineAction.CHANGE:
            return list(_change_faults(line, item, at))
    if item.quantity is not None or item.price is not None:
        return [Fault(f"{at}/action", "line.change", "An accepted line changes neither quantity nor price.")]
    return []


def _rejection_faults(line: OrderLine, item: LineResponseData, at: str) -> Iterator[Fault]:
    if not item.reason:
        yield Fault(f"{at}/reason", "required", "Enter the reason for rejecting the line.")
    if line.outstanding <= line.in_transit:
        yield Fault(f"{at}/action", "line.done", "Nothing of this line is outstanding.")


def _change_faults(line: OrderLine, item: LineResponseData, at: str) -> Iterator[Fault]:
    if item.quantity is None and item.price is None and item.promised_on is None:
        yield Fault(at, "line.nothing", "Enter a quantity, a price or promised_on.")
    if item.quantity is not None and (part := whole_fault(line.unit, item.quantity, f"{at}/quantity")):
        yield part
        return
    # a quantity without a date is cancelled, but goods in transit cannot be cancelled
    least = line.in_transit if item.promised_on is None else ZERO
    if item.quantity is not None and not least <= item.quantity <= line.outstanding:
        text = f"From {least} to {line.outstanding}, the outstanding quantity. It includes goods in transit."
        yield Fault(f"{at}/quantity", "range", text)


def _record_line(reply: OrderResponse, line: OrderLine, item: LineResponseData) -> None:
    if item.action == LineAction.REJECT:
        reduce_line(line, line.outstanding - line.in_transit, item.reason)
        _save(reply, line, item)
        return
    if item.action == LineAction.CHANGE and item.quantity is not None:
        _back_order(line, item)
    decision = _decision(line) if _is_proposal(line, item) else Decision.NONE
    if item.action == LineAction.ACCEPT and item.promised_on:
        line.due_on = item.promised_on
    _save(reply, line, item, decision)


def _is_proposal(line: OrderLine, item: LineResponseData) -> bool:
    """Return whether the buyer must decide: another price, or another date for the same quantity."""
    if item.action != LineAction.CHANGE:
        return False
    other_price = item.price is not None and item.price != line.price
    other_day = item.promised_on is not None and item.quantity is None and item.promised_on != line.due_on
    return other_price or other_day


def _decision(line: OrderLine) -> Decision:
    """Return the state of a new proposal. It waits while part of the line is not in transit; else the order holds."""
    return Decision.WAITING if line.outstanding > line.in_transit else Decision.SUPERSEDED


def _back_order(line: OrderLine, item: LineResponseData) -> None:
    """Keep the stated quantity; back-order the rest to the promised date, or cancel it if there is no date."""
    rest = line.outstanding - (item.quantity or ZERO)
    if item.promised_on is None:
        reduce_line(line, rest, item.reason or "not available")
    else:
        line.due_on, line.reason = item.promised_on, item.reason[:500]


def _save(reply: OrderResponse, line: OrderLine, item: LineResponseData, decision: Decision = Decision.NONE) -> None:
    OrderResponseLine.objects.of(reply.business).create(
        reply=reply,
        line=line,
        action=item.action,
        reason=item.reason[:500],
        quantity=item.quantity,
        price=item.price,
        promised_on=item.promised_on,
        decision=decision,
    )
