"""A supplier's word on an order, the same whether it came as JSON or as a UBL OrderResponse."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import date
from decimal import Decimal
from typing import Any

from django.db import transaction

from catalogue.rules.units import whole_fault
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
from shared.api.json_encoder import write_json
from shared.api.problems import Problem
from shared.business.actors import Actor
from shared.common.money import stated

ZERO = Decimal(0)
SEEN, ACCEPTED, REFUSED, CONDITIONAL = "AB", "AP", "RE", "CA"
BY_LINE = frozenset({OrderResponseStatus.PART, OrderResponseStatus.CHANGED})


@dataclass(frozen=True, slots=True)
class LineResponseData:
    """One line of a reply. ``quantity`` is what can be had now, with what is on the way already; the rest is back-ordered to
    ``promised`` or refused."""

    line: int
    said: str
    reason: str = ""
    quantity: Decimal | None = None
    price: Decimal | None = None
    promised: date | None = None


@dataclass(frozen=True, slots=True)
class OrderResponseData:
    """A whole reply: ``number`` is the supplier's own, by which the same reply sent again is known."""

    number: str
    code: str
    note: str = ""
    promised: date | None = None
    lines: tuple[LineResponseData, ...] = ()


def fingerprint(value: Any) -> str:
    """Digest of what was said: the same number with other words is refused."""
    return hashlib.sha256(write_json(asdict(value))).hexdigest()


@transaction.atomic
def record_response(*, order: SupplierOrder, told: OrderResponseData, actor: Actor) -> tuple[SupplierOrder, bool]:
    """Takes a reply in; says whether it was new. A price or a date that differs waits for the owner."""
    order = locked(order)
    sha256 = fingerprint(told)
    before = OrderResponse.objects.of(order.business).filter(order=order, number=told.number).first()
    if before is not None:
        if before.sha256 != sha256:
            raise Problem("conflict", f"OrderResponse {told.number} said something else before; give another number.")
        return order, False
    if order.state not in OPEN:
        raise Problem("conflict", f"Order {order.number} is {order.state}; there is nothing to reply to any more.")
    _check_code(order, told)
    reply = OrderResponse.objects.of(order.business).create(
        order=order, number=told.number, code=told.code, note=told.note, promised_on=told.promised, sha256=sha256
    )
    lines = lines_of(order)
    if told.code == SEEN:
        note(order, "order.seen", f"{order.supplier.name} has the order.", actor, {"reply": told.number})
        return order, True
    if told.code == REFUSED:
        _refuse_all(order, reply, lines, told)
    elif told.code == ACCEPTED:
        _accept_all(order, reply, lines, told)
    else:
        _take_lines(order, reply, lines, told)
    order_totals.store(order, lines)
    update_order_state(order, lines)
    kind = "order.refused" if order.answer == OrderResponseStatus.REFUSED else "order.acknowledged"
    facts = {
        "reply": told.number,
        "code": told.code,
        "answer": order.answer,
        "lines": [_fact(line, order.currency) for line in told.lines],
    }
    note(order, kind, f"{order.supplier.name}: {order.answer}. {told.note}".strip(), actor, facts)
    return order, True


def _fact(one: LineResponseData, currency: str) -> dict[str, Any]:
    price = "" if one.price is None else stated(one.price, currency)
    return {name: str(value) if value not in (None, "") else "" for name, value in asdict(one).items()} | {
        "price": price
    }


def _check_code(order: SupplierOrder, told: OrderResponseData) -> None:
    if told.code == CONDITIONAL and not told.lines:
        raise InvalidDocument([Fault("/lines", "PEPPOL-T76-R007", "A reply CA says which lines change.")])
    if told.code != CONDITIONAL and told.lines:
        raise InvalidDocument([Fault("/lines", "PEPPOL-T76-R008", f"A reply {told.code} carries no lines; send CA.")])
    if told.code == ACCEPTED and order.answer in BY_LINE:
        raise Problem("conflict", "After a reply with changes the whole can't be accepted; reply CA line by line.")
    if (
        told.code == REFUSED and order.state == OrderState.DESPATCHED
    ):  # refused lines are cancelled, not goods on the road
        raise Problem("conflict", "Some of it is despatched; refuse lines by CA.")


def _refuse_all(
    order: SupplierOrder, reply: OrderResponse, lines: Sequence[OrderLine], told: OrderResponseData
) -> None:
    for line in lines:
        _keep(reply, line, LineResponseData(line.position, LineAction.REFUSE, told.note or "refused"))
        reduce_line(line, line.outstanding, told.note or "refused by the supplier")
    supersede_proposals(order)
    order.answer = OrderResponseStatus.REFUSED


def _accept_all(
    order: SupplierOrder, reply: OrderResponse, lines: Sequence[OrderLine], told: OrderResponseData
) -> None:
    for line in lines:
        _keep(reply, line, LineResponseData(line.position, LineAction.ACCEPT, promised=told.promised))
    order.answer, order.promised_on = OrderResponseStatus.WHOLE, told.promised
    _acknowledge(order)


def _acknowledge(order: SupplierOrder) -> None:
    if order.state == OrderState.PLACED:
        move(order, OrderState.ACKNOWLEDGED)


def _take_lines(order: SupplierOrder, reply: OrderResponse, lines: list[OrderLine], told: OrderResponseData) -> None:
    meant = lines_by_position(lines, [item.line for item in told.lines])
    words = [(line, _differs(line, item)) for line, item in zip(meant, told.lines, strict=True)]
    _refuse_lines(words)
    supersede_proposals(order, meant)
    for line, said in words:
        _take_line(reply, line, said)
    before, order.answer = order.answer, _answer(order, [said for _, said in words])
    if told.promised:
        order.promised_on = told.promised
    elif order.answer in BY_LINE and before not in BY_LINE:
        order.promised_on = _day_of_changes(order)
    _acknowledge(order)


def _refuse_lines(words: Sequence[tuple[OrderLine, LineResponseData]]) -> None:
    faults = [
        fault for place, (line, said) in enumerate(words) for fault in _line_faults(line, said, f"/lines/{place}")
    ]
    if faults:
        raise InvalidDocument(faults)


def _differs(line: OrderLine, said: LineResponseData) -> LineResponseData:
    """The change without what stays as it is: UBL repeats that. Only after the digest, or the same document sent again
    would seem to say something else once it was taken in."""
    if said.said != LineAction.CHANGE:
        return said
    quantity = None if said.quantity == line.outstanding else said.quantity
    return replace(said, quantity=quantity, price=None if said.price == line.price else said.price)


def _day_of_changes(order: SupplierOrder) -> date | None:
    """The day that came with replies by line: one that came with an acceptance of the whole falls with it."""
    rows = OrderResponse.objects.of(order.business).filter(order=order, code=CONDITIONAL, promised_on__isnull=False)
    return rows.order_by("-id").values_list("promised_on", flat=True).first()


def _answer(order: SupplierOrder, words: Sequence[LineResponseData]) -> OrderResponseStatus:
    """Changed beats in part, in part beats in whole; what was said before still counts."""
    if any(word.price is not None or (word.promised and word.quantity is None) for word in words):
        return OrderResponseStatus.CHANGED
    if order.answer == OrderResponseStatus.CHANGED:
        return OrderResponseStatus.CHANGED
    if all(word.said == LineAction.ACCEPT for word in words):
        return OrderResponseStatus(order.answer or OrderResponseStatus.WHOLE)
    return OrderResponseStatus.PART


def _line_faults(line: OrderLine, said: LineResponseData, at: str) -> list[Fault]:
    match said.said:
        case LineAction.REFUSE:
            return list(_refusal_faults(line, said, at))
        case LineAction.CHANGE:
            return list(_change_faults(line, said, at))
    if said.quantity is not None or said.price is not None:
        return [Fault(f"{at}/said", "line.change", "An accepted line changes neither quantity nor price.")]
    return []


def _refusal_faults(line: OrderLine, said: LineResponseData, at: str) -> Iterator[Fault]:
    if not said.reason:
        yield Fault(f"{at}/reason", "required", "Say why the line is refused.")
    if line.outstanding <= line.in_transit:
        yield Fault(f"{at}/said", "line.done", "Nothing of this line is outstanding any more.")


def _change_faults(line: OrderLine, said: LineResponseData, at: str) -> Iterator[Fault]:
    if said.quantity is None and said.price is None and said.promised is None:
        yield Fault(at, "line.nothing", "Say what changes: quantity, price or promised.")
    if said.quantity is not None and (part := whole_fault(line.unit, said.quantity, f"{at}/quantity")):
        yield part
        return
    # what no day is promised for is cancelled; what is on the road can't be
    least = line.in_transit if said.promised is None else ZERO
    if said.quantity is not None and not least <= said.quantity <= line.outstanding:
        text = f"From {least} to {line.outstanding}, what is outstanding; what is on the way counts."
        yield Fault(f"{at}/quantity", "range", text)


def _take_line(reply: OrderResponse, line: OrderLine, said: LineResponseData) -> None:
    if said.said == LineAction.REFUSE:
        reduce_line(line, line.outstanding - line.in_transit, said.reason)
        _keep(reply, line, said)
        return
    if said.said == LineAction.CHANGE and said.quantity is not None:
        _back_order(line, said)
    decision = _decision(line) if _is_proposal(line, said) else Decision.NONE
    if said.said == LineAction.ACCEPT and said.promised:
        line.due_on = said.promised
    _keep(reply, line, said, decision)


def _is_proposal(line: OrderLine, said: LineResponseData) -> bool:
    """Another price, or another day for the same quantity, is for the buyer to decide."""
    if said.said != LineAction.CHANGE:
        return False
    other_price = said.price is not None and said.price != line.price
    other_day = said.promised is not None and said.quantity is None and said.promised != line.due_on
    return other_price or other_day


def _decision(line: OrderLine) -> Decision:
    """A proposal waits as long as something of the line is not on the road; goods that are go as they were ordered."""
    return Decision.WAITING if line.outstanding > line.in_transit else Decision.OVERTAKEN


def _back_order(line: OrderLine, said: LineResponseData) -> None:
    """So much now; the rest comes on the promised day, or not at all where no day is promised."""
    rest = line.outstanding - (said.quantity or ZERO)
    if said.promised is None:
        reduce_line(line, rest, said.reason or "not to be had")
    else:
        line.due_on, line.reason = said.promised, said.reason[:500]


def _keep(reply: OrderResponse, line: OrderLine, said: LineResponseData, decision: Decision = Decision.NONE) -> None:
    OrderResponseLine.objects.of(reply.business).create(
        reply=reply,
        line=line,
        said=said.said,
        reason=said.reason[:500],
        quantity=said.quantity,
        price=said.price,
        promised_on=said.promised,
        decision=decision,
    )
