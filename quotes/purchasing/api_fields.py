"""API fields and schemas of orders and stock. The business and the supplier get the same order document."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from decimal import Decimal
from functools import lru_cache
from typing import Any

from django.db.models import F
from django.db.models.functions import Coalesce

from quotes.jobs.api_fields import DATE, DOCUMENT, TIME, WHOLE, shape
from quotes.purchasing import models
from quotes.purchasing.delivery_models import RECEIPT_QUANTITIES
from quotes.purchasing.order_totals import taxes
from shared.api.row_serializer import Money, MoneyPlaces, RowSerializer, TrimmedDecimal, same_names, short
from shared.common.money import stated

MONEY = {"type": "string", "pattern": r"^-?\d+(\.\d+)?$"}
_PLAIN = (
    "ref",
    "number",
    "response_status",
    "currency",
    "deliver_by",
    "promised_on",
    "placed_at",
    "change_sequence",
    "updated_at",
)
_AMOUNTS = {
    "goods_total": "goods",
    **{
        name: name
        for name in ("delivery_fee", "tax", "total", "goods_after_credits", "tax_after_credits", "total_after_credits")
    },
}
"""Amounts of an order and their columns."""
LINE = ("sku", "supplier_sku", "role", "finish", "length_mm", "unit", "gtin", "due_on", "reason")
_QUANTITIES = ("quantity", "received", "outstanding", "cancelled", "in_transit")
_OWN_QUANTITIES = {
    "required_quantity": "required_quantity",
    "over_delivered": "over_delivered",
    "quantity_damaged": "damaged",
    "quantity_returned": "returned",
    "quantity_credited": "credited",
}
"""Quantities of a line that only the business sees, and their columns."""
MOVEMENT = ("ref", "kind", "quantity", "reason", "created_by", "created_at")
ORDERS = RowSerializer(
    {
        **same_names(*_PLAIN),
        "status": "state",
        **{name: Money(column) for name, column in _AMOUNTS.items()},
        "supplier": {"code": "supplier__code", "name": "supplier__name"},
        "business": {"ref": "business__ref", "name": "business__name"},
    },
    MoneyPlaces(("currency",)),
)
EVENTS = RowSerializer(
    {
        "ref": "ref",
        "type": "kind",
        "created_at": "created_at",
        "sequence": "sequence",
        "order": {"ref": "order__ref", "number": "order__number"},
        "text": "text",
        "details": "details",
    }
)
"""``sequence`` counts within an order. It puts late and repeated events in order."""
STOCK = RowSerializer(
    {
        **same_names("ref", "kind", "location", "note", "updated_at"),
        "component": "component__sku",
        "name": "component__name",
        "role": "component__role",
        "finish": "component__finish__code",
        "length_mm": Coalesce("length_mm", "component__length_mm"),
        "quantity": TrimmedDecimal("quantity"),
        "reserved": TrimmedDecimal("reserved"),
        "available": TrimmedDecimal(F("quantity") - F("reserved")),
        "from_job": "from_job__number",
    }
)
"""``available`` is not reserved for a job."""
STOCK_MOVEMENTS = RowSerializer({**same_names(*MOVEMENT), "quantity": TrimmedDecimal("quantity")})
RESERVATIONS = RowSerializer(
    {
        "ref": "ref",
        "status": "state",
        "quantity": TrimmedDecimal("quantity"),
        "item": {"ref": "item__ref", "component": "item__component__sku", "length_mm": "item__length_mm"},
        "job": {"ref": "job__ref", "number": "job__number"},
        "created_at": "created_at",
    }
)


@lru_cache(maxsize=10_000)
def amount(value: Decimal, currency: str) -> str:
    """Return money with the minor units of its currency: 10.0000 is 10.00 dollars or 10 yen."""
    return stated(value, currency)


@lru_cache(maxsize=10_000)
def number(value: Decimal) -> str:
    """Return a quantity without trailing zeros."""
    return short(f"{value:f}")


def order_full(order: models.SupplierOrder, *, own: bool = True) -> dict[str, Any]:
    """Return an order with lines, responses, despatches and receipts. ``own`` adds what only the business sees."""
    business, currency = order.business, order.currency
    lines = list(models.OrderLine.objects.of(business).filter(order=order).order_by("position"))
    parts = _parts(order) if own else {}
    waiting = models.OrderResponseLine.objects.of(business).filter(line__order=order, decision=models.Decision.WAITING)
    proposals = {row.line_id: row for row in waiting}
    data = [_line(line, proposals.get(line.pk), currency) for line in lines]
    if own:
        for line, item in zip(lines, data, strict=True):
            item.update({name: number(getattr(line, column)) for name, column in _OWN_QUANTITIES.items()})
            item.update(jobs=parts.get(line.pk, []), purchase_reason=line.purchase_reason, account=line.account)
    return {
        **{name: getattr(order, name) for name in _PLAIN},
        "status": order.state,
        **{name: amount(getattr(order, column), currency) for name, column in _AMOUNTS.items()},
        "supplier": {"code": order.supplier.code, "name": order.supplier.name},
        "business": {"ref": business.ref, "name": business.name},
        "buyer": order.parties_snapshot.get("buyer"),
        "seller": order.parties_snapshot.get("seller"),
        "deliver_to": order.deliver_to,
        "deliver_from": order.deliver_from,
        "note": order.note,
        "taxes": [
            {
                "category": row.category,
                "rate": number(row.rate),
                "taxable": amount(row.taxable, currency),
                "tax": amount(row.tax, currency),
            }
            for row in taxes(order, lines)
        ],
        "lines": data,
        "responses": _responses(order),
        "despatches": despatches_of(order),
        "returns": _returns(order),
        **({"receipts": receipts_of(order)} if own else {}),
    }


def _line(line: models.OrderLine, proposal: models.OrderResponseLine | None, currency: str) -> dict[str, Any]:
    quantity = line.quantity - line.cancelled
    packs, loose = divmod(quantity, line.pack)
    return {
        "line": line.position,
        "name": line.label,
        **{name: getattr(line, name) for name in LINE},
        **{name: number(getattr(line, name)) for name in _QUANTITIES},
        "mass_kg": None if line.mass_kg is None else number(line.mass_kg),
        "pack_size": number(line.pack),
        "packs": number(packs),
        "loose_quantity": number(loose),
        "price": amount(line.price, currency),
        "net_amount": amount(line.net, currency),
        "tax": {"code": line.tax_code, "category": line.tax_category, "rate": number(line.tax_rate)},
        "proposal": proposal and {
            "price": None if proposal.price is None else amount(proposal.price, currency),
            "promised_on": proposal.promised_on,
            "reason": proposal.reason,
        },
    }  # fmt: skip


def _parts(order: models.SupplierOrder) -> dict[int, list[dict[str, str]]]:
    found: dict[int, list[dict[str, str]]] = defaultdict(list)
    rows = models.LineJob.objects.of(order.business).filter(line__order=order).order_by("id")
    for line, ref, job, quantity, net in rows.values_list("line_id", "job__ref", "job__number", "quantity", "net"):
        found[line].append(
            {"ref": ref, "number": job, "quantity": number(quantity), "net_amount": amount(net, order.currency)}
        )
    return found


def _responses(order: models.SupplierOrder) -> list[dict[str, Any]]:
    rows = models.OrderResponse.objects.of(order.business).filter(order=order).order_by("id")
    return [
        {
            "ref": row.ref,
            "number": row.number,
            "code": row.code,
            "note": row.note,
            "promised_on": row.promised_on,
            "created_at": row.created_at,
        }
        for row in rows
    ]


def _grouped(rows: Iterable[Mapping[str, Any]], by: str, names: tuple[str, ...]) -> dict[int, list[dict[str, Any]]]:
    found: dict[int, list[dict[str, Any]]] = defaultdict(list)
    for row in rows:
        found[row[by]].append({"line": row["line__position"], **{name: number(row[name]) for name in names}})
    return found


def despatches_of(order: models.SupplierOrder) -> list[dict[str, Any]]:
    """Return the dockets of an order with their lines."""
    rows = models.DespatchLine.objects.of(order.business).filter(despatch__order=order).order_by("line__position")
    lines = _grouped(rows.values("despatch_id", "line__position", "quantity"), "despatch_id", ("quantity",))
    return [
        {
            "ref": row.ref,
            "number": row.number,
            "despatched_on": row.despatched_on,
            "arrives_on": row.arrives_on,
            "note": row.note,
            "lines": lines[row.pk],
        }
        for row in models.Despatch.objects.of(order.business).filter(order=order).order_by("id")
    ]


def _returns(order: models.SupplierOrder) -> list[dict[str, Any]]:
    rows = models.GoodsReturn.objects.of(order.business).filter(order=order).select_related("line").order_by("id")
    return [
        {
            "number": row.number,
            "line": row.line.position,
            "quantity": number(row.quantity),
            "replacement_required": row.replacement_required,
            "credit": amount(row.credit, order.currency),
            "reason": row.reason,
            "created_at": row.created_at,
        }
        for row in rows
    ]


def receipts_of(order: models.SupplierOrder) -> list[dict[str, Any]]:
    """Return the counts of an order with their lines."""
    names = tuple(RECEIPT_QUANTITIES)
    rows = models.ReceiptLine.objects.of(order.business).filter(receipt__order=order).order_by("line__position")
    found = [
        {
            "receipt_id": row.receipt_id,
            "line__position": row.line.position,
            **{name: getattr(row, column) for name, column in RECEIPT_QUANTITIES.items()},
        }
        for row in rows.select_related("line")
    ]
    lines = _grouped(found, "receipt_id", names)
    return [
        {
            "docket_number": row.docket_number,
            "received_on": row.received_on,
            "created_by": row.created_by,
            "note": row.note,
            "lines": lines[row.pk],
        }
        for row in models.GoodsReceipt.objects.of(order.business).filter(order=order).order_by("id")
    ]


_BUSINESS = shape(("ref", "name"))
_SUPPLIER = shape(("code", "name"))
ORDER_SCHEMA = shape(
    (*_PLAIN, "status"),
    change_sequence=WHOLE,
    deliver_by=DATE,
    **dict.fromkeys(_AMOUNTS, MONEY),
    supplier=_SUPPLIER,
    business=_BUSINESS,
)
_LINE_SCHEMA = shape(
    (*LINE, "name", "mass_kg", "pack_size", "packs", "loose_quantity", *_QUANTITIES),
    line=WHOLE,
    length_mm={"type": ["integer", "null"]},
    mass_kg={"type": ["string", "null"]},
    price=MONEY,
    net_amount=MONEY,
    tax=DOCUMENT,
    proposal={"type": ["object", "null"], "additionalProperties": True},
)
_MANY = {"type": "array", "items": DOCUMENT}
ORDER_FULL_SCHEMA = shape(
    (*_PLAIN, "status", "note", "deliver_from"),
    change_sequence=WHOLE,
    deliver_by=DATE,
    deliver_from=DATE,
    **dict.fromkeys(_AMOUNTS, MONEY),
    supplier=_SUPPLIER,
    business=_BUSINESS,
    buyer={"type": ["object", "null"], "additionalProperties": True},
    seller={"type": ["object", "null"], "additionalProperties": True},
    deliver_to=DOCUMENT,
    taxes=_MANY,
    lines={"type": "array", "items": _LINE_SCHEMA},
    responses=_MANY,
    despatches=_MANY,
    returns=_MANY,
    receipts=_MANY,
)
EVENT_SCHEMA = shape(
    ("ref", "type", "text"), created_at=TIME, sequence=WHOLE, order=shape(("ref", "number")), details=DOCUMENT
)
STOCK_SCHEMA = shape(
    ("ref", "kind", "location", "note", "updated_at", "component", "name", "role", "quantity", "reserved", "available"),
    finish={"type": ["string", "null"]},
    length_mm={"type": ["integer", "null"]},
    from_job={"type": ["string", "null"]},
)
MOVEMENT_SCHEMA = shape(MOVEMENT)
RESERVATION_SCHEMA = shape(("ref", "status", "quantity", "created_at"), item=DOCUMENT, job=DOCUMENT)
PLAN_SCHEMA = shape(
    ("saving_from_combining_jobs", "saving_from_several_suppliers", "max_further_saving"),
    gap_ppm=WHOLE,
    orders=_MANY,
    single_supplier_options=_MANY,
    from_stock=_MANY,
    saving_from_several_suppliers={"type": ["string", "null"]},
)
