"""Lists of orders with their lines, in two queries."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from typing import Any

from rest_framework.response import Response

from quotes.documents.kinds.order_list import ORDER_LIST, order_list_pdf
from quotes.documents.models import Document, DocumentState
from quotes.documents.services import want_document
from quotes.jobs.api_fields import DATE, WHOLE, shape
from quotes.purchasing.api_fields import MONEY, ORDER_SCHEMA
from quotes.purchasing.models import OrderLine, SupplierOrder
from quotes.purchasing.queries import order_sheet
from quotes.quoting.content_document import face
from quotes.quoting.json_values import plain
from shared.api.row_serializer import Money, MoneyPlaces, RowSerializer, TrimmedDecimal, same_names
from shared.common.json_encoder import write_json
from shared.common.problems import Problem

INCLUDE = "lines: include the lines of each order."
_PLAIN = ("sku", "supplier_sku", "role", "finish", "length_mm", "unit", "due_on")
_QUANTITIES = ("quantity", "received", "outstanding", "cancelled", "in_transit")
_AMOUNTS = {"price": "price", "net_amount": "net"}
LINES = RowSerializer(
    {
        "line": "position",
        "name": "label",
        **same_names(*_PLAIN),
        **{name: TrimmedDecimal(name) for name in _QUANTITIES},
        **{name: Money(column) for name, column in _AMOUNTS.items()},
    },
    MoneyPlaces(("order__currency",)),
)


def with_lines(response: Response, parameters: Mapping[str, str]) -> Response:
    """Return the page of orders, each with its lines if ``include=lines`` is requested. Raise 400 for any other value."""
    if "include" not in parameters:
        return response
    if parameters["include"] != "lines":
        raise Problem(
            "invalid-parameter", errors=[{"parameter": "include", "code": "include", "detail": "Choose from: lines."}]
        )
    data: Any = response.data
    orders = [item["ref"] for item in data["items"]]
    rows = OrderLine.unscoped.filter(order__ref__in=orders)  # unscoped: the page holds only orders that may be seen
    found: dict[str, list[dict[str, Any]]] = defaultdict(list)
    for line, (order,) in zip(*LINES.read(rows.order_by("order_id", "position"), "order__ref"), strict=True):
        found[order].append(line)
    for item in data["items"]:
        item["lines"] = found[item["ref"]]
    return response


_LINE_SCHEMA = shape(
    ("name", *_PLAIN, *_QUANTITIES),
    line=WHOLE,
    length_mm={"type": ["integer", "null"]},
    due_on=DATE,
    price=MONEY,
    net_amount=MONEY,
)
LISTED_SCHEMA: dict[str, Any] = {
    **ORDER_SCHEMA,
    "properties": {**ORDER_SCHEMA["properties"], "lines": {"type": "array", "items": _LINE_SCHEMA}},
}
"""An order of a list. ``lines`` is present only if requested."""


def list_content(order: SupplierOrder) -> str:
    """Return the current values of an order list."""
    made = (order.placed_at or order.created_at).isoformat()
    data = {"sheet": order_sheet(order), "business": plain(face(order.business)), "made": made}
    return write_json(data).decode()


def want_list(order: SupplierOrder) -> None:
    """Queue the list of an order that was just placed."""
    want_document(business=order.business, kind=ORDER_LIST, subject=order.ref, content=list_content(order))


def order_pdf(order: SupplierOrder) -> bytes:
    """Return the order list: the stored PDF, or a new one if the order has changed."""
    content = list_content(order)
    kept = (
        Document.objects.of(order.business)
        .filter(kind=ORDER_LIST.code, subject=order.ref, content=content, state=DocumentState.READY)
        .values_list("pdf", flat=True)
        .first()
    )
    return order_list_pdf(content) if kept is None else bytes(kept)
