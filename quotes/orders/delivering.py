"""Goods on their way, counted when they come, and sent back."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from django.db import transaction

from fencing.faults import Fault, Refused
from quotes.orders import sums
from quotes.orders.events import lines_of, locked, move, note, require
from quotes.orders.models import (
    Answer,
    Despatch,
    DespatchLine,
    GoodsReturn,
    OrderLine,
    Receipt,
    ReceiptLine,
    State,
    SupplierOrder,
)
from quotes.orders.replying import fingerprint
from quotes.orders.rows import amount
from quotes.orders.services import OPEN, end_done, named, settle
from shared.business.actors import Actor
from shared.numbering import next_number
from shared.problems import Problem

ZERO = Decimal(0)


@dataclass(frozen=True, slots=True)
class Loaded:
    """So much of one line on the lorry; ``reason`` is why the rest is outstanding."""

    line: int
    quantity: Decimal
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Docket:
    """What a supplier says is on the lorry; ``number`` is the supplier's own."""

    number: str
    lines: tuple[Loaded, ...]
    despatched: date | None = None
    arrives: date | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class Counted:
    """Sound and damaged quantities of one line."""

    line: int
    quantity: Decimal
    damaged: Decimal = ZERO


@dataclass(frozen=True, slots=True)
class Count:
    """What was counted of one docket."""

    docket: str
    received: date
    lines: tuple[Counted, ...]
    note: str = ""


@transaction.atomic
def despatch(*, order: SupplierOrder, docket: Docket, actor: Actor) -> tuple[SupplierOrder, Despatch, bool]:
    """Takes a docket in; says whether it was new. Despatching what was not replied to accepts it.

    It is a fact, so it waits for nothing: what is on it goes as it was ordered, whatever was proposed.
    """
    order = locked(order)
    sha256 = fingerprint(docket)
    before = Despatch.objects.of(order.business).filter(order=order, number=docket.number).first()
    if before is not None:
        if before.sha256 != sha256:
            raise Problem("conflict", f"Despatch {docket.number} said something else before; give another number.")
        return order, before, False
    require(order, *OPEN)
    lines = lines_of(order)
    meant = named(lines, [one.line for one in docket.lines])
    _check_docket(meant, docket)
    found = Despatch.objects.of(order.business).create(
        order=order,
        number=docket.number,
        despatched_on=docket.despatched,
        arrives_on=docket.arrives,
        note=docket.note,
        sha256=sha256,
    )
    for line, loaded in zip(meant, docket.lines, strict=True):
        line.on_the_way += loaded.quantity
        line.save()
        DespatchLine.objects.of(order.business).create(
            despatch=found, line=line, quantity=loaded.quantity, outstanding_reason=loaded.reason[:500]
        )
    end_done(order, meant)
    if order.answer == Answer.NONE:
        order.answer = Answer.WHOLE
    order.save()
    move(order, State.DESPATCHED)
    facts = {"despatch": docket.number, "lines": {str(one.line): str(one.quantity) for one in docket.lines}}
    note(order, "order.despatched", f"Despatch {docket.number} is on its way.", actor, facts)
    return order, found, True


def _check_docket(meant: Sequence[OrderLine], docket: Docket) -> None:
    faults: list[Fault] = [] if docket.lines else [Fault("/lines", "required", "Say what is on the lorry.")]
    for place, (line, loaded) in enumerate(zip(meant, docket.lines, strict=True)):
        free = line.outstanding - line.on_the_way
        if not ZERO < loaded.quantity <= free:
            text = f"Line {line.position} has {free} to be despatched."
            faults.append(Fault(f"/lines/{place}/quantity", "range", text))
    if faults:
        raise Refused(faults)


@transaction.atomic
def receive(*, order: SupplierOrder, count: Count, actor: Actor) -> tuple[SupplierOrder, Receipt, bool]:
    """Counts a docket in: sound pieces are received, damaged and short ones stay outstanding, the rest is over.

    The same docket again is the same receipt. A docket nobody announced is received all the same.
    """
    order = locked(order)
    sha256 = fingerprint(count)
    before = Receipt.objects.of(order.business).filter(order=order, docket=count.docket).first()
    if before is not None:
        if before.sha256 != sha256:
            raise Problem("conflict", f"Docket {count.docket} was received with other figures.")
        return order, before, False
    require(order, *OPEN)
    lines = lines_of(order)
    named(lines, [one.line for one in count.lines])
    announced = Despatch.objects.of(order.business).filter(order=order, number=count.docket).first()
    receipt = Receipt.objects.of(order.business).create(
        order=order,
        despatch=announced,
        docket=count.docket,
        received_on=count.received,
        note=count.note,
        who=actor.name[:160],
        sha256=sha256,
    )
    rows = _count_in(receipt, lines, count, _expected(announced))
    end_done(order, lines)
    sums.store(order, lines)
    if order.state != State.DESPATCHED and any(line.outstanding for line in lines):
        move(order, State.DESPATCHED)
    settle(order, lines)
    facts = {"docket": count.docket, "lines": [_fact(row) for row in rows]}
    note(order, "order.received", _told(count, rows), actor, facts)
    return order, receipt, True


def _expected(announced: Despatch | None) -> dict[int, Decimal]:
    if announced is None:
        return {}
    rows = DespatchLine.objects.of(announced.business).filter(despatch=announced)
    return dict(rows.values_list("line_id", "quantity"))


def _count_in(
    receipt: Receipt, lines: Sequence[OrderLine], count: Count, expected: Mapping[int, Decimal]
) -> list[ReceiptLine]:
    counted = {one.line: one for one in count.lines}
    rows: list[ReceiptLine] = []
    for line in lines:
        one = counted.get(line.position)
        docketed = expected.get(line.pk, ZERO)
        if one is None and not docketed:
            continue
        sound, damaged = (one.quantity, one.damaged) if one else (ZERO, ZERO)
        good = min(sound, line.outstanding)
        line.received += good
        line.outstanding -= good
        line.over += sound - good
        line.damaged += damaged
        line.on_the_way = max(ZERO, line.on_the_way - docketed)
        short = max(ZERO, docketed - sound - damaged)
        row = ReceiptLine(
            business=receipt.business, receipt=receipt, line=line, expected=docketed, quantity=sound, damaged=damaged
        )
        row.short, row.over = short, sound - good
        row.save()
        rows.append(row)
    return rows


def _fact(row: ReceiptLine) -> dict[str, Any]:
    names = ("quantity", "expected", "damaged", "short", "over")
    return {"line": row.line.position, **{name: str(getattr(row, name)) for name in names}}


def _told(count: Count, rows: Sequence[ReceiptLine]) -> str:
    odd = [
        f"line {row.line.position} {word} {getattr(row, word)}"
        for row in rows
        for word in ("short", "over", "damaged")
        if getattr(row, word)
    ]
    return f"Docket {count.docket} received{': ' + ', '.join(odd) if odd else ' in order'}."


@transaction.atomic
def send_back(
    *, order: SupplierOrder, line: int, quantity: Decimal, replace: bool, reason: str, actor: Actor
) -> tuple[SupplierOrder, GoodsReturn]:
    """Sends goods back: to be replaced they are outstanding again, for credit they are no longer to be paid for.

    What came broken or beyond what was ordered was never to be paid for: it goes first, and brings no credit.
    """
    order = locked(order)
    require(order, State.DESPATCHED, State.RECEIVED)
    lines = lines_of(order)
    [row] = named(lines, [line], "")
    there = row.received + row.over + row.damaged - row.returned
    if not ZERO < quantity <= there:
        raise Refused([Fault("/quantity", "range", f"Up to {there} of line {line} are here.")])
    before = sums.kept_net(order, row)
    if replace:
        sound = row.received - row.credited
        if quantity > sound:
            raise Refused([Fault("/quantity", "range", f"Only {sound} were received in order.")])
        row.received -= quantity
        row.outstanding += quantity
    else:
        row.returned += quantity
        row.credited = max(row.credited, row.returned - row.over - row.damaged)
    row.save()
    sums.add_up(order, lines)
    order.save()
    returned = GoodsReturn.objects.of(order.business).create(
        order=order,
        number=f"B{next_number(order.business, 'return'):04d}",
        line=row,
        quantity=quantity,
        replace=replace,
        credit=before - sums.kept_net(order, row),
        reason=reason,
        who=actor.name[:160],
    )
    if replace:
        move(order, State.DESPATCHED)
    facts = {"return": returned.number, "line": line, "quantity": str(quantity), "replace": replace}
    facts["credit"] = amount(returned.credit, order.currency)
    note(order, "order.returned", f"{returned.number}: {quantity} of line {line} sent back: {reason}", actor, facts)
    return order, returned
