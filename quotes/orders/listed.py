"""Orders of a list with their lines: two queries, however many there are."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from rest_framework.response import Response

from quotes.jobs.rows import DATE, WHOLE, shape
from quotes.orders.models import OrderLine
from quotes.orders.rows import MONEY, ORDER_SHAPE, amount, number
from shared.problems import Problem

WITH = "lines: each order with its lines."
_PLAIN = ("sku", "supplier_sku", "label", "role", "finish", "length_mm", "unit", "due_on")
_QUANTITIES = ("quantity", "received", "outstanding", "cancelled", "on_the_way")
_AMOUNTS = ("price", "net")
_TEXTS = len(_PLAIN)
_NUMBERS = _TEXTS + len(_QUANTITIES)


def with_lines(response: Response, asked: Mapping[str, str]) -> Response:
    """The page of orders, each with its lines where ``with=lines`` is asked for. 400 for anything else."""
    if "with" not in asked:
        return response
    if asked["with"] != "lines":
        raise Problem("bad-parameter", errors=[{"parameter": "with", "code": "with", "detail": "Choose from: lines."}])
    data: Any = response.data
    found: dict[str, list[dict[str, Any]]] = {item["ref"]: [] for item in data["items"]}
    lines = OrderLine.anywhere.filter(order__ref__in=found)  # unscoped: the page holds only orders that may be seen
    columns = ("order__ref", "position", *_PLAIN, *_QUANTITIES, *_AMOUNTS)
    for ref, position, *values in lines.order_by("order_id", "position").values_list(*columns):
        line: dict[str, Any] = {"line": position}
        line.update(zip(_PLAIN, values, strict=False))
        line.update(zip(_QUANTITIES, map(number, values[_TEXTS:_NUMBERS]), strict=True))
        line.update(zip(_AMOUNTS, map(amount, values[_NUMBERS:]), strict=True))
        found[ref].append(line)
    for item in data["items"]:
        item["lines"] = found[item["ref"]]
    return response


_LINE_SHAPE = shape(
    (*_PLAIN, *_QUANTITIES), line=WHOLE, length_mm={"type": ["integer", "null"]}, due_on=DATE, price=MONEY, net=MONEY
)
LISTED_SHAPE: dict[str, Any] = {
    **ORDER_SHAPE,
    "properties": {**ORDER_SHAPE["properties"], "lines": {"type": "array", "items": _LINE_SHAPE}},
}
"""An order of a list; ``lines`` only where they are asked for."""
