"""Order actions from placing to closing, and the owner's decision on a supplier's changes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.utils import timezone

from catalogue.engine.engine_input import market
from fencing.model.faults import Fault, InvalidDocument
from quotes.jobs.models import Job
from quotes.jobs.services import note_event
from quotes.purchasing import order_totals, stock_services
from quotes.purchasing.api_fields import amount
from quotes.purchasing.models import (
    Decision,
    OrderLine,
    OrderResponseLine,
    OrderResponseStatus,
    OrderState,
    SupplierOrder,
)
from quotes.purchasing.order_events import lines_of, locked, move, note, require
from quotes.purchasing.order_lists import want_list
from shared.business.actors import Actor
from shared.common.dates import local_day
from shared.common.money import shown
from shared.common.problems import Problem

ZERO = Decimal(0)
OPEN = (OrderState.PLACED, OrderState.ACKNOWLEDGED, OrderState.DESPATCHED)


@transaction.atomic
def place(*, order: SupplierOrder, actor: Actor, allow_below_minimum: bool = False) -> SupplierOrder:
    """Place a draft: send it to its supplier. A placed order does not change.

    Raise 409 if the goods are below the supplier's minimum order value, unless ``allow_below_minimum`` is set.
    """
    order = locked(order)
    if order.state != OrderState.DRAFT and order.placed_at is not None:
        return order
    require(order, OrderState.DRAFT)
    lines = lines_of(order)
    if not lines:
        raise Problem("conflict", "Add lines before you place the order.")
    least = least_order_of(order)
    if order.goods < least and not allow_below_minimum:
        least_text, goods_text = (shown(value, order.currency, order.business.locale) for value in (least, order.goods))
        raise Problem(
            "conflict",
            f"{order.supplier.name} takes orders from {least_text} of goods; this one has {goods_text}. "
            "Add goods, or ask the supplier and set allow_below_minimum.",
        )
    now = timezone.now()
    order.placed_at, order.placed_on = now, local_day(order.business, now)
    order.placed_by = actor.name[:160]
    order.parties_snapshot = face_of(order)
    order.save(update_fields=["placed_at", "placed_on", "placed_by", "parties_snapshot"])
    move(order, OrderState.PLACED)
    _tell_jobs(order, "order.placed", f"Order {order.number} placed with {order.supplier.name}.", actor)
    note(order, "order.placed", f"Order {order.number} placed.", actor, {"total": amount(order.total, order.currency)})
    want_list(order)
    return order


def least_order_of(order: SupplierOrder) -> Decimal:
    """Return the supplier's minimum order value by its terms of today."""
    return market(order.business).supplier(order.supplier.code).minimum_order


def face_of(order: SupplierOrder) -> dict[str, Any]:
    """Return the current data of both parties."""
    business, supplier = order.business, order.supplier
    buyer = ("name", "address", "city", "postcode", "country", "email", "phone", "registration_number", "tax_number")
    seller = ("name", "address", "country", "email", "gln", "registration_number", "tax_number", "customer_number")
    return {
        "buyer": {name: getattr(business, name) for name in buyer},
        "seller": {name: getattr(supplier, name) for name in seller},
    }


@transaction.atomic
def cancel(*, order: SupplierOrder, actor: Actor, reason: str) -> SupplierOrder:
    """Cancel a whole order and release the stock that was reserved when it was drafted.

    Raise 409 if any of it is in transit. A cancelled order does not change.
    """
    order = locked(order)
    if order.state == OrderState.CANCELLED:
        return order
    was_placed = order.placed_at is not None
    move(order, OrderState.CANCELLED)
    lines = lines_of(order)
    for line in lines:
        reduce_line(line, line.outstanding, reason)
    stock_services.release_order(order=order, actor=actor)
    supersede_proposals(order)
    order_totals.store(order, lines)
    _tell_jobs(order, "order.cancelled", f"Order {order.number} cancelled: {reason}", actor)
    note(order, "order.cancelled", f"Cancelled: {reason}", actor, {"reason": reason}, for_supplier=was_placed)
    return order


@transaction.atomic
def cancel_outstanding(*, order: SupplierOrder, actor: Actor, positions: Sequence[int], reason: str) -> SupplierOrder:
    """Cancel outstanding quantities of lines that are not in transit. If nothing is outstanding, the order is received."""
    order = locked(order)
    require(order, *OPEN)
    lines = lines_of(order)
    for line in lines_by_position(lines, positions):
        reduce_line(line, max(ZERO, line.outstanding - line.in_transit), reason)
    order_totals.store(order, lines)
    update_order_state(order, lines)
    note(order, "order.lines_cancelled", f"Outstanding cancelled: {reason}", actor, {"lines": list(positions)})
    return order


@transaction.atomic
def close(*, order: SupplierOrder, actor: Actor) -> SupplierOrder:
    """Close a received order. A closed order does not change."""
    order = locked(order)
    if order.state == OrderState.CLOSED:
        return order
    move(order, OrderState.CLOSED)
    note(order, "order.closed", f"Order {order.number} closed.", actor)
    return order


@transaction.atomic
def decide(*, order: SupplierOrder, actor: Actor, decisions: Mapping[int, bool]) -> SupplierOrder:
    """Accept or reject a supplier's prices and dates by line. The same decision again changes nothing."""
    order = locked(order)
    require(order, *OPEN)
    lines = lines_of(order)
    lines_by_position(lines, list(decisions))
    waiting = {row.line_id: row for row in _waiting(order)}
    decided: dict[str, str] = {}
    for line in lines:
        row = waiting.get(line.pk)
        if line.position in decisions and row is not None:
            agreed = decisions[line.position]
            row.decision = Decision.ACCEPTED if agreed else Decision.REJECTED
            row.save(update_fields=["decision"])
            _apply(line, row, agreed)
            decided[str(line.position)] = row.decision
    if decided:
        order_totals.store(order, lines)
        note(
            order,
            "order.changes_decided",
            "Changes decided.",
            actor,
            {"lines": decided, "total": amount(order.total, order.currency)},
        )
    elif not _decided_so(order, decisions):
        raise Problem("conflict", "These lines have no proposal to decide.")
    return order


def _apply(line: OrderLine, row: OrderResponseLine, agreed: bool) -> None:
    if agreed and row.price is not None:
        line.price = row.price
    if agreed and row.promised_on is not None:
        line.due_on = row.promised_on


def _decided_so(order: SupplierOrder, decisions: Mapping[int, bool]) -> bool:
    for position, agreed in decisions.items():
        rows = OrderResponseLine.objects.of(order.business).filter(line__order=order, line__position=position)
        last = rows.exclude(decision=Decision.NONE).order_by("-id").first()
        if last is None or last.decision != (Decision.ACCEPTED if agreed else Decision.REJECTED):
            return False
    return True


def _waiting(order: SupplierOrder) -> list[OrderResponseLine]:
    return list(OrderResponseLine.objects.of(order.business).filter(line__order=order, decision=Decision.WAITING))


def supersede_proposals(order: SupplierOrder, lines: Sequence[OrderLine] | None = None) -> None:
    """Mark waiting proposals as superseded."""
    rows = OrderResponseLine.objects.of(order.business).filter(line__order=order, decision=Decision.WAITING)
    if lines is not None:
        rows = rows.filter(line__in=[line.pk for line in lines])
    rows.update(decision=Decision.SUPERSEDED)


def supersede_finished(order: SupplierOrder, lines: Sequence[OrderLine]) -> None:
    """Mark waiting proposals of fully despatched lines as superseded: the goods keep the ordered price."""
    if done := [line for line in lines if line.outstanding <= line.in_transit]:
        supersede_proposals(order, done)


def lines_by_position(lines: Sequence[OrderLine], positions: Sequence[int], at: str = "/lines") -> list[OrderLine]:
    """Return lines by position. Raise InvalidDocument with every unknown and every repeated position."""
    known = {line.position: line for line in lines}
    faults = [
        Fault(f"{at}/{place}/line", "unknown", f"The order has no line {position}.")
        for place, position in enumerate(positions)
        if position not in known
    ]
    if len(set(positions)) != len(positions):
        faults.append(Fault(at, "double", "Name each line only once."))
    if faults:
        raise InvalidDocument(faults)
    return [known[position] for position in positions]


def reduce_line(line: OrderLine, quantity: Decimal, reason: str) -> None:
    """Cancel a part of a line's outstanding quantity."""
    line.outstanding -= quantity
    line.cancelled += quantity
    if quantity:
        line.reason = reason[:500]


def update_order_state(order: SupplierOrder, lines: Sequence[OrderLine]) -> None:
    """Mark the order as received if nothing is outstanding, or as cancelled if nothing arrived."""
    if any(line.outstanding for line in lines):
        return
    supersede_proposals(order)
    if any(line.received or line.over_delivered for line in lines):
        move(order, OrderState.RECEIVED)
    elif order.state in {OrderState.PLACED, OrderState.ACKNOWLEDGED}:
        if order.response_status == OrderResponseStatus.NONE:
            order.response_status = OrderResponseStatus.REJECTED
        order.save(update_fields=["response_status"])
        move(order, OrderState.CANCELLED)
    else:
        move(order, OrderState.RECEIVED)


def _tell_jobs(order: SupplierOrder, kind: str, text: str, actor: Actor) -> None:
    for job in Job.objects.of(order.business).filter(order_parts__line__order=order).distinct().order_by("pk"):
        note_event(job=job, kind=kind, text=text, actor=actor)
