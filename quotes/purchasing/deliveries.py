"""Goods on their way, counted when they come, and sent back."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from django.db import transaction

from catalogue.rules.codes import whole_fault
from fencing.buying.purchase_lines import plain
from fencing.model.faults import Fault, InvalidDocument
from quotes.purchasing import models, order_totals
from quotes.purchasing.api_fields import amount
from quotes.purchasing.delivery_models import RECEIPT_QUANTITIES
from quotes.purchasing.order_events import lines_of, locked, move, note, require
from quotes.purchasing.order_responses import fingerprint
from quotes.purchasing.services import OPEN, lines_by_position, supersede_finished, update_order_state
from shared.business.actors import Actor
from shared.common.problems import Problem
from shared.database.numbering import next_number

ZERO = Decimal(0)


@dataclass(frozen=True, slots=True)
class DespatchLineData:
    """Quantity of one line in a despatch. ``outstanding_reason`` states why the rest is outstanding."""

    line: int
    quantity: Decimal
    outstanding_reason: str = ""


@dataclass(frozen=True, slots=True)
class DespatchData:
    """A despatch advice. ``number`` is the supplier's own."""

    number: str
    lines: tuple[DespatchLineData, ...]
    despatched_on: date | None = None
    arrives_on: date | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class ReceivedLine:
    """Quantity of one line that arrived, and how much of it is damaged. ``damaged`` is part of ``arrived``."""

    line: int
    arrived: Decimal
    damaged: Decimal = ZERO

    @property
    def sound(self) -> Decimal:
        """Return the quantity that arrived undamaged."""
        return self.arrived - self.damaged


@dataclass(frozen=True, slots=True)
class ReceiptData:
    """The count of one docket."""

    docket: str
    received: date
    lines: tuple[ReceivedLine, ...]
    note: str = ""


@transaction.atomic
def despatch(
    *, order: models.SupplierOrder, docket: DespatchData, actor: Actor
) -> tuple[models.SupplierOrder, models.Despatch, bool]:
    """Record a despatch and return whether it is new. It counts as acceptance of an order without a response.

    A despatch is accepted in any open order state. Its lines keep the ordered price; open proposals do not apply.
    """
    order = locked(order)
    sha256 = fingerprint(docket)
    before = models.Despatch.objects.of(order.business).filter(order=order, number=docket.number).first()
    if before is not None:
        if before.sha256 != sha256:
            raise Problem("conflict", f"Despatch {docket.number} was received with other content. Use another number.")
        return order, before, False
    require(order, *OPEN)
    lines = lines_of(order)
    named = lines_by_position(lines, [item.line for item in docket.lines])
    _check_docket(named, docket)
    found = models.Despatch.objects.of(order.business).create(
        order=order,
        number=docket.number,
        despatched_on=docket.despatched_on,
        arrives_on=docket.arrives_on,
        note=docket.note,
        sha256=sha256,
    )
    for line, loaded in zip(named, docket.lines, strict=True):
        line.in_transit += loaded.quantity
        line.save()
        models.DespatchLine.objects.of(order.business).create(
            despatch=found, line=line, quantity=loaded.quantity, outstanding_reason=loaded.outstanding_reason[:500]
        )
    supersede_finished(order, named)
    if order.response_status == models.OrderResponseStatus.NONE:
        order.response_status = models.OrderResponseStatus.ACCEPTED
    order.save()
    move(order, models.OrderState.DESPATCHED)
    facts = {"despatch": docket.number, "lines": {str(item.line): str(item.quantity) for item in docket.lines}}
    note(order, "order.despatched", f"Despatch {docket.number} is on its way.", actor, facts)
    return order, found, True


def _check_docket(named: Sequence[models.OrderLine], docket: DespatchData) -> None:
    faults: list[Fault] = [] if docket.lines else [Fault("/lines", "required", "Enter the lines of the despatch.")]
    for place, (line, loaded) in enumerate(zip(named, docket.lines, strict=True)):
        free = line.outstanding - line.in_transit
        if part := whole_fault(line.unit, loaded.quantity, f"/lines/{place}/quantity"):
            faults.append(part)
        elif not ZERO < loaded.quantity <= free:
            text = f"Line {line.position} has {free} left to despatch."
            faults.append(Fault(f"/lines/{place}/quantity", "range", text))
    if faults:
        raise InvalidDocument(faults)


@transaction.atomic
def receive(
    *, order: models.SupplierOrder, count: ReceiptData, actor: Actor, more_than_docket: bool = False
) -> tuple[models.SupplierOrder, models.GoodsReceipt, bool]:
    """Record the count of one docket: sound pieces are received, damaged and missing ones stay outstanding.

    The same docket again is the same receipt. A docket that was not announced is accepted too. More than the docket states
    (or, without one, than is outstanding) is refused unless ``more_than_docket`` confirms it: it may be a typing error.
    """
    order = locked(order)
    sha256 = fingerprint(count)
    before = models.GoodsReceipt.objects.of(order.business).filter(order=order, docket_number=count.docket).first()
    if before is not None:
        if before.sha256 != sha256:
            raise Problem("conflict", f"Docket {count.docket} was received with other quantities.")
        return order, before, False
    require(order, *OPEN)
    lines = lines_of(order)
    named = lines_by_position(lines, [item.line for item in count.lines])
    announced = models.Despatch.objects.of(order.business).filter(order=order, number=count.docket).first()
    expected = _expected(announced)
    if faults := list(_count_faults(named, count, expected if announced else None, more=more_than_docket)):
        raise InvalidDocument(faults)
    receipt = models.GoodsReceipt.objects.of(order.business).create(
        order=order,
        despatch=announced,
        docket_number=count.docket,
        received_on=count.received,
        note=count.note,
        created_by=actor.name[:160],
        sha256=sha256,
    )
    rows = _count_in(receipt, lines, count, expected)
    supersede_finished(order, lines)
    order_totals.store(order, lines)
    if order.state != models.OrderState.DESPATCHED and any(line.outstanding for line in lines):
        move(order, models.OrderState.DESPATCHED)
    update_order_state(order, lines)
    facts = {"docket_number": count.docket, "lines": [_details(row) for row in rows]}
    note(order, "order.goods_received", _audit_text(count, rows), actor, facts)
    return order, receipt, True


MORE = "more_than_docket"


def _count_faults(
    named: Sequence[models.OrderLine], count: ReceiptData, docketed: Mapping[int, Decimal] | None, *, more: bool
) -> Iterator[Fault]:
    for place, (line, counted) in enumerate(zip(named, count.lines, strict=True)):
        at = f"/lines/{place}"
        parts = [
            fault
            for name in ("arrived", "damaged")
            if (fault := whole_fault(line.unit, getattr(counted, name), f"{at}/{name}_quantity"))
        ]
        yield from parts
        limit = line.outstanding if docketed is None else docketed.get(line.pk, ZERO)
        if counted.damaged > counted.arrived:
            text = f"Line {line.position}: {plain(counted.damaged)} damaged of {plain(counted.arrived)} that arrived. "
            yield Fault(f"{at}/damaged_quantity", "range", text + "Damaged pieces are part of what arrived.")
        elif counted.arrived > limit and not more and not parts:
            source = "are outstanding" if docketed is None else f"are on docket {count.docket}"
            text = f"Line {line.position}: {plain(counted.arrived)} arrived, but {plain(limit)} {source}. "
            yield Fault(f"{at}/arrived_quantity", MORE, text + f"Count again, or confirm with {MORE}.")


def _expected(announced: models.Despatch | None) -> dict[int, Decimal]:
    if announced is None:
        return {}
    rows = models.DespatchLine.objects.of(announced.business).filter(despatch=announced)
    return dict(rows.values_list("line_id", "quantity"))


def _count_in(
    receipt: models.GoodsReceipt, lines: Sequence[models.OrderLine], count: ReceiptData, expected: Mapping[int, Decimal]
) -> list[models.ReceiptLine]:
    counted = {item.line: item for item in count.lines}
    rows: list[models.ReceiptLine] = []
    for line in lines:
        one = counted.get(line.position)
        docketed = expected.get(line.pk, ZERO)
        if one is None and not docketed:
            continue
        one = one or ReceivedLine(line.position, ZERO)
        good = min(one.sound, line.outstanding)
        line.received += good
        line.outstanding -= good
        line.over_delivered += one.sound - good
        line.damaged += one.damaged
        line.in_transit = max(ZERO, line.in_transit - docketed)
        row = models.ReceiptLine(
            business=receipt.business,
            receipt=receipt,
            line=line,
            expected=docketed,
            quantity=one.sound,
            damaged=one.damaged,
            short_delivered=max(ZERO, docketed - one.arrived),
            over_delivered=one.sound - good,
        )
        row.save()
        rows.append(row)
    return rows


def _details(row: models.ReceiptLine) -> dict[str, Any]:
    return {
        "line": row.line.position,
        **{name: plain(getattr(row, column)) for name, column in RECEIPT_QUANTITIES.items()},
    }


def _audit_text(count: ReceiptData, rows: Sequence[models.ReceiptLine]) -> str:
    odd = [
        f"line {row.line.position} {label} {plain(getattr(row, column))}"
        for row in rows
        for label, column in (("short", "short_delivered"), ("over", "over_delivered"), ("damaged", "damaged"))
        if getattr(row, column)
    ]
    return f"Docket {count.docket} received{': ' + ', '.join(odd) if odd else ' in order'}."


@transaction.atomic
def return_goods(
    *, order: models.SupplierOrder, line: int, quantity: Decimal, replacement_required: bool, reason: str, actor: Actor
) -> tuple[models.SupplierOrder, models.GoodsReturn]:
    """Send goods back: to be replaced, so that they are outstanding again, or for credit.

    Damaged pieces go first. Sent back for credit, they are no longer outstanding: they count as received and credited. Then goes
    what came beyond the order, which was never to be paid for and brings no credit.
    """
    order = locked(order)
    require(order, models.OrderState.DESPATCHED, models.OrderState.RECEIVED)
    lines = lines_of(order)
    [row] = lines_by_position(lines, [line], "")
    if part := whole_fault(row.unit, quantity, "/quantity"):
        raise InvalidDocument([part])
    there = row.received + row.over_delivered + row.damaged - row.returned
    if not ZERO < quantity <= there:
        raise InvalidDocument([Fault("/quantity", "range", f"Up to {plain(there)} of line {line} are here.")])
    before = order_totals.kept_net(order, row)
    (_replace if replacement_required else _credit)(row, quantity)
    row.save()
    order_totals.add_up(order, lines)
    order.save()
    returned = models.GoodsReturn.objects.of(order.business).create(
        order=order,
        number=f"B{next_number(order.business, 'return'):04d}",
        line=row,
        quantity=quantity,
        replacement_required=replacement_required,
        credit=before - order_totals.kept_net(order, row),
        reason=reason,
        created_by=actor.name[:160],
    )
    if any(item.outstanding for item in lines):
        move(order, models.OrderState.DESPATCHED)
    update_order_state(order, lines)
    facts = {
        "return": returned.number,
        "line": line,
        "quantity": str(quantity),
        "replacement_required": replacement_required,
    }
    facts["credit"] = amount(returned.credit, order.currency)
    note(
        order,
        "order.returned",
        f"{returned.number}: {plain(quantity)} of line {line} sent back: {reason}",
        actor,
        facts,
    )
    return order, returned


def _damaged_here(row: models.OrderLine) -> Decimal:
    """Return the damaged pieces of a line that were not returned. They are returned first."""
    return max(ZERO, row.damaged - (row.returned - row.credited))


def _replace(row: models.OrderLine, quantity: Decimal) -> None:
    """Ask for others: a damaged piece is outstanding already, a sound one is again."""
    bad = min(quantity, _damaged_here(row))
    sound = row.received - row.credited
    if quantity - bad > sound:
        raise InvalidDocument([Fault("/quantity", "range", f"Only {plain(sound + bad)} can be replaced.")])
    row.damaged -= bad
    row.received -= quantity - bad
    row.outstanding += quantity - bad


def _credit(row: models.OrderLine, quantity: Decimal) -> None:
    """Send back for good: nothing is to come for it, and what was to be paid for is credited."""
    bad = min(quantity, _damaged_here(row))
    beyond = row.over_delivered + row.damaged - (row.returned - row.credited) - bad
    spare = min(quantity - bad, max(ZERO, beyond))
    settled = min(bad, max(ZERO, row.outstanding - row.in_transit))
    row.damaged -= settled
    row.outstanding -= settled
    row.received += settled
    row.credited += quantity - bad - spare + settled
    row.returned += quantity
