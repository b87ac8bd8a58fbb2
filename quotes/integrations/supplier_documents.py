"""A supplier's order responses and despatches as UBL documents, as received."""

from __future__ import annotations

from decimal import Decimal

from django.db.models import Sum

from quotes.integrations.order_formats import ubl_party
from quotes.integrations.ubl.despatch_advice import write_despatch
from quotes.integrations.ubl.documents import (
    LineStatus,
    ResponseCode,
    ResponseLine,
    UblDespatchAdvice,
    UblDespatchLine,
    UblOrderResponse,
    UblParty,
)
from quotes.integrations.ubl.order_response import write_response
from quotes.purchasing.api_fields import amount, number
from quotes.purchasing.models import Despatch, LineAction, OrderResponse, OrderResponseLine, SupplierOrder
from quotes.purchasing.models import DespatchLine as Loaded
from quotes.purchasing.order_totals import due
from quotes.purchasing.services import face_of
from shared.common.dates import local_day

ZERO = Decimal(0)
_STATUS = {
    LineAction.ACCEPT: LineStatus.ACCEPTED,
    LineAction.REJECT: LineStatus.REFUSED,
    LineAction.CHANGE: LineStatus.CHANGED,
}


def response_ubl(order: SupplierOrder, reply: OrderResponse) -> bytes:
    """Return the UBL order response. Only a conditional one (CA) has lines."""
    buyer, seller = _parties(order)
    rows = (
        OrderResponseLine.objects.of(order.business)
        .filter(reply=reply)
        .select_related("line")
        .order_by("line__position")
    )
    conditional = reply.code == ResponseCode.CONDITIONAL
    return write_response(
        UblOrderResponse(
            id=reply.number,
            issued=local_day(order.business, reply.created_at),
            order=order.number,
            code=ResponseCode(reply.code),
            currency=order.currency,
            buyer=buyer,
            seller=seller,
            lines=tuple(_replied(place, row, order.currency) for place, row in enumerate(rows, 1))
            if conditional
            else (),
            note=" ".join(reply.note.split()),
            promised_on=reply.promised_on,
        )
    )


def despatch_ubl(order: SupplierOrder, despatch: Despatch) -> bytes:
    """Return the UBL despatch advice, with outstanding quantities and their reasons."""
    buyer, seller = _parties(order)
    rows = Loaded.objects.of(order.business).filter(despatch=despatch).select_related("line").order_by("line__position")
    return write_despatch(
        UblDespatchAdvice(
            id=despatch.number,
            issued=local_day(order.business, despatch.created_at),
            order=order.number,
            buyer=buyer,
            seller=seller,
            lines=tuple(_loaded(place, row) for place, row in enumerate(rows, 1)),
            note=" ".join(despatch.note.split()),
            despatched=despatch.despatched_on,
            arrives=despatch.arrives_on,
        )
    )


def _parties(order: SupplierOrder) -> tuple[UblParty, UblParty]:
    data = order.parties_snapshot or face_of(order)
    return ubl_party(data["buyer"]), ubl_party(data["seller"])


def _replied(place: int, row: OrderResponseLine, currency: str) -> ResponseLine:
    return ResponseLine(
        id=str(place),
        order_line=str(row.line.position),
        status=_STATUS[LineAction(row.action)],
        name=row.line.label,
        quantity=None if row.quantity is None else Decimal(number(row.quantity)),
        unit=row.line.unit,
        price=None if row.price is None else Decimal(amount(row.price, currency)),
        promised_on=row.promised_on,
        note=" ".join(row.reason.split()),
    )


def _loaded(place: int, row: Loaded) -> UblDespatchLine:
    until = Loaded.objects.of(row.business).filter(line=row.line, despatch_id__lte=row.despatch_id)
    rest = due(row.line) - (until.aggregate(sent=Sum("quantity"))["sent"] or ZERO)
    data = bool(row.outstanding_reason) and rest > 0
    return UblDespatchLine(
        id=str(place),
        order_line=str(row.line.position),
        name=row.line.label,
        quantity=Decimal(number(row.quantity)),
        unit=row.line.unit,
        seller_sku=row.line.supplier_sku or row.line.sku,
        gtin=row.line.gtin,
        outstanding=Decimal(number(rest)) if data else None,
        outstanding_reason=" ".join(row.outstanding_reason.split()) if data else "",
    )
