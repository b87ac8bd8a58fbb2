"""Orders and stock as the API tells them, and the schemas that say so. Own and supplier's doors tell the same document."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from decimal import Decimal
from functools import lru_cache
from typing import Any

from django.db.models import F
from django.db.models.functions import Coalesce

from quotes.jobs.api_fields import DATE, DOCUMENT, TIME, WHOLE, shape
from quotes.purchasing.models import (
    Decision,
    Despatch,
    DespatchLine,
    GoodsReceipt,
    GoodsReturn,
    LineJob,
    OrderLine,
    OrderResponse,
    OrderResponseLine,
    ReceiptLine,
    SupplierOrder,
)
from quotes.purchasing.order_totals import taxes
from shared.api.row_serializer import Money, MoneyPlaces, RowSerializer, TrimmedDecimal, same_names, short
from shared.common.money import stated

MONEY = {"type": "string", "pattern": r"^-?\d+(\.\d+)?$"}
_PLAIN = (
    "ref",
    "number",
    "state",
    "answer",
    "currency",
    "deliver_by",
    "promised_on",
    "placed_at",
    "changed",
    "updated_at",
)
_AMOUNTS = (
    "goods", "delivery_fee", "tax", "total", "goods_after_credits", "tax_after_credits", "total_after_credits",
)  # fmt: skip
LINE = ("sku", "supplier_sku", "label", "role", "finish", "length_mm", "unit", "gtin", "due_on", "reason")
_QUANTITIES = ("quantity", "received", "outstanding", "cancelled", "in_transit")
_OWN_QUANTITIES = ("wanted", "over", "damaged", "returned", "credited")
MOVE = ("ref", "kind", "quantity", "reason", "who", "created_at")
ORDERS = RowSerializer(
    {
        **same_names(*_PLAIN),
        **{name: Money(name) for name in _AMOUNTS},
        "supplier": {"code": "supplier__code", "name": "supplier__name"},
        "business": {"ref": "business__ref", "name": "business__name"},
    },
    MoneyPlaces(("currency",)),
)
EVENTS = RowSerializer(
    {
        "ref": "ref",
        "type": "kind",
        "time": "created_at",
        "sequence": "sequence",
        "order": {"ref": "order__ref", "number": "order__number"},
        "text": "text",
        "facts": "facts",
    }
)
"""``sequence`` counts within an order, so late and double ones can be put in order."""
STOCK = RowSerializer(
    {
        **same_names("ref", "kind", "place", "note", "updated_at"),
        "component": "component__sku",
        "label": "component__label",
        "role": "component__role",
        "finish": "component__finish__code",
        "length_mm": Coalesce("length_mm", "component__length_mm"),
        "quantity": TrimmedDecimal("quantity"),
        "held": TrimmedDecimal("held"),
        "free": TrimmedDecimal(F("quantity") - F("held")),
        "from_job": "from_job__number",
    }
)
"""``free`` is what is not kept for a job."""
STOCK_MOVES = RowSerializer({**same_names(*MOVE), "quantity": TrimmedDecimal("quantity")})
HOLDS = RowSerializer(
    {
        **same_names("ref", "state"),
        "quantity": TrimmedDecimal("quantity"),
        "item": {"ref": "item__ref", "component": "item__component__sku", "length_mm": "item__length_mm"},
        "job": {"ref": "job__ref", "number": "job__number"},
        "created_at": "created_at",
    }
)


@lru_cache(maxsize=10_000)
def amount(value: Decimal, currency: str) -> str:
    """Money with every minor unit of its currency: a stored 10.0000 is 10.00 dollars or 10 yen."""
    return stated(value, currency)


@lru_cache(maxsize=10_000)
def number(value: Decimal) -> str:
    """A quantity without needless zeros."""
    return short(f"{value:f}")


def order_full(order: SupplierOrder, *, own: bool = True) -> dict[str, Any]:
    """An order with lines, replies, despatches and receipts. ``own`` shows what is the business's alone: jobs and reasons."""
    business, currency = order.business, order.currency
    lines = list(OrderLine.objects.of(business).filter(order=order).order_by("position"))
    parts = _parts(order) if own else {}
    waiting = OrderResponseLine.objects.of(business).filter(line__order=order, decision=Decision.WAITING)
    proposals = {row.line_id: row for row in waiting}
    data = [_line(line, proposals.get(line.pk), currency) for line in lines]
    if own:
        for line, item in zip(lines, data, strict=True):
            item.update({name: number(getattr(line, name)) for name in _OWN_QUANTITIES})
            item.update(jobs=parts.get(line.pk, []), why=line.why, account=line.account)
    return {
        **{name: getattr(order, name) for name in _PLAIN},
        **{name: amount(getattr(order, name), currency) for name in _AMOUNTS},
        "supplier": {"code": order.supplier.code, "name": order.supplier.name},
        "business": {"ref": business.ref, "name": business.name},
        "buyer": order.face.get("buyer"),
        "seller": order.face.get("seller"),
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
        "replies": _replies(order),
        "despatches": despatches_of(order),
        "returns": _returns(order),
        **({"receipts": receipts_of(order)} if own else {}),
    }


def _line(line: OrderLine, proposal: OrderResponseLine | None, currency: str) -> dict[str, Any]:
    asked = line.quantity - line.cancelled
    packs, loose = divmod(asked, line.pack)
    return {
        "line": line.position,
        **{name: getattr(line, name) for name in LINE},
        **{name: number(getattr(line, name)) for name in _QUANTITIES},
        "mass_kg": None if line.mass_kg is None else number(line.mass_kg),
        "pack": number(line.pack),
        "packs": number(packs),
        "loose": number(loose),
        "price": amount(line.price, currency),
        "net": amount(line.net, currency),
        "tax": {"code": line.tax_code, "category": line.tax_category, "rate": number(line.tax_rate)},
        "proposal": proposal and {
            "price": None if proposal.price is None else amount(proposal.price, currency),
            "promised": proposal.promised_on,
            "reason": proposal.reason,
        },
    }  # fmt: skip


def _parts(order: SupplierOrder) -> dict[int, list[dict[str, str]]]:
    found: dict[int, list[dict[str, str]]] = defaultdict(list)
    rows = LineJob.objects.of(order.business).filter(line__order=order).order_by("id")
    for line, ref, job, quantity, net in rows.values_list("line_id", "job__ref", "job__number", "quantity", "net"):
        found[line].append(
            {"ref": ref, "number": job, "quantity": number(quantity), "net": amount(net, order.currency)}
        )
    return found


def _replies(order: SupplierOrder) -> list[dict[str, Any]]:
    rows = OrderResponse.objects.of(order.business).filter(order=order).order_by("id")
    return [
        {
            "ref": row.ref,
            "number": row.number,
            "code": row.code,
            "note": row.note,
            "promised": row.promised_on,
            "at": row.created_at,
        }
        for row in rows
    ]


def _grouped(rows: Iterable[Mapping[str, Any]], by: str, names: tuple[str, ...]) -> dict[int, list[dict[str, Any]]]:
    found: dict[int, list[dict[str, Any]]] = defaultdict(list)
    for row in rows:
        found[row[by]].append({"line": row["line__position"], **{name: number(row[name]) for name in names}})
    return found


def despatches_of(order: SupplierOrder) -> list[dict[str, Any]]:
    """Return the dockets of an order with their lines."""
    rows = DespatchLine.objects.of(order.business).filter(despatch__order=order).order_by("line__position")
    lines = _grouped(rows.values("despatch_id", "line__position", "quantity"), "despatch_id", ("quantity",))
    return [
        {
            "ref": row.ref,
            "number": row.number,
            "despatched": row.despatched_on,
            "arrives": row.arrives_on,
            "note": row.note,
            "lines": lines[row.pk],
        }
        for row in Despatch.objects.of(order.business).filter(order=order).order_by("id")
    ]


def _returns(order: SupplierOrder) -> list[dict[str, Any]]:
    rows = GoodsReturn.objects.of(order.business).filter(order=order).select_related("line").order_by("id")
    return [
        {
            "number": row.number,
            "line": row.line.position,
            "quantity": number(row.quantity),
            "replace": row.replace,
            "credit": amount(row.credit, order.currency),
            "reason": row.reason,
            "at": row.created_at,
        }
        for row in rows
    ]


def receipts_of(order: SupplierOrder) -> list[dict[str, Any]]:
    """Return the counts of an order with their lines."""
    names = ("arrived", "damaged", "sound", "expected", "short", "over")
    rows = ReceiptLine.objects.of(order.business).filter(receipt__order=order).order_by("line__position")
    found = [
        {
            "receipt_id": row.receipt_id,
            "line__position": row.line.position,
            **{name: getattr(row, name) for name in names},
        }
        for row in rows.select_related("line")
    ]
    lines = _grouped(found, "receipt_id", names)
    return [
        {"docket": row.docket, "received": row.received_on, "who": row.who, "note": row.note, "lines": lines[row.pk]}
        for row in GoodsReceipt.objects.of(order.business).filter(order=order).order_by("id")
    ]


_BUSINESS = shape(("ref", "name"))
_SUPPLIER = shape(("code", "name"))
ORDER_SCHEMA = shape(
    _PLAIN, changed=WHOLE, deliver_by=DATE, **dict.fromkeys(_AMOUNTS, MONEY), supplier=_SUPPLIER, business=_BUSINESS
)
_LINE_SCHEMA = shape(
    (*LINE, "mass_kg", "pack", "packs", "loose", *_QUANTITIES),
    line=WHOLE,
    length_mm={"type": ["integer", "null"]},
    mass_kg={"type": ["string", "null"]},
    price=MONEY,
    net=MONEY,
    tax=DOCUMENT,
    proposal={"type": ["object", "null"], "additionalProperties": True},
)
_MANY = {"type": "array", "items": DOCUMENT}
ORDER_FULL_SCHEMA = shape(
    (*_PLAIN, "note", "deliver_from"),
    changed=WHOLE,
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
    replies=_MANY,
    despatches=_MANY,
    returns=_MANY,
    receipts=_MANY,
)
EVENT_SCHEMA = shape(("ref", "type", "text"), time=TIME, sequence=WHOLE, order=shape(("ref", "number")), facts=DOCUMENT)
STOCK_SCHEMA = shape(
    ("ref", "kind", "place", "note", "updated_at", "component", "label", "role", "quantity", "held", "free"),
    finish={"type": ["string", "null"]},
    length_mm={"type": ["integer", "null"]},
    from_job={"type": ["string", "null"]},
)
MOVE_SCHEMA = shape(MOVE)
HOLD_SCHEMA = shape(("ref", "state", "quantity", "created_at"), item=DOCUMENT, job=DOCUMENT)
PLAN_SCHEMA = shape(
    ("saving_from_combining_jobs", "saving_from_several_suppliers", "max_further_saving"),
    gap_ppm=WHOLE,
    orders=_MANY,
    alone=_MANY,
    from_stock=_MANY,
    saving_from_several_suppliers={"type": ["string", "null"]},
)
