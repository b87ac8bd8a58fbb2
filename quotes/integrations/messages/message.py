"""Kind of message that a supplier sends about an order, and what all kinds need."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict, dataclass
from typing import Any

import orjson
from django.db.models import QuerySet

from catalogue.rules.codes import sale_unit
from fencing.model.faults import Fault
from quotes.integrations.order_formats import ubl_party
from quotes.integrations.ubl.documents import UblParty
from quotes.purchasing import queries
from quotes.purchasing.models import OrderLine, SupplierOrder
from quotes.purchasing.services import face_of
from shared.api.serializers import StrictSerializer, validated_data
from shared.business.actors import Actor
from shared.common.json_encoder import write_json


@dataclass(frozen=True, slots=True)
class Message:
    """Kind of message: how it is read from JSON and UBL, stored, and written as UBL.

    Its addresses end in ``path``; there ``name`` with "_ref" is its public id. ``document`` is its UBL type, ``events`` are the
    events it causes, ``rows`` the messages of an order. ``read_json`` and ``read_xml`` give the value that ``store`` takes;
    ``store`` returns the order and whether the message is new.
    """

    name: str
    path: str
    noun: str
    document: str
    summary: str
    events: tuple[str, ...]
    rows: Callable[[SupplierOrder], QuerySet[Any]]
    body: type[StrictSerializer]
    read_json: Callable[[dict[str, Any]], Any]
    read_xml: Callable[[bytes, SupplierOrder], Any]
    store: Callable[[SupplierOrder, Any, Actor], tuple[SupplierOrder, bool]]
    write_xml: Callable[[SupplierOrder, Any], bytes]


def parties_of(order: SupplierOrder) -> tuple[UblParty, UblParty]:
    """Return the buyer and the seller of an order for UBL."""
    data = order.parties_snapshot or face_of(order)
    return ubl_party(data["buyer"]), ubl_party(data["seller"])


def lines_of(order: SupplierOrder) -> dict[str, OrderLine]:
    """Return the lines of an order by the number that a document names them by."""
    return {str(line.position): line for line in queries.lines(order).order_by("position")}


def bounded(kind: type[StrictSerializer], value: Any) -> dict[str, Any]:
    """Check values with the limits of the JSON API: the UBL schema allows numbers and texts of any size."""
    return validated_data(kind, orjson.loads(write_json(asdict(value))))


_ONES = frozenset({"C62", "H87", "EA"})


def wrong_unit(unit: str, line: OrderLine, at: str) -> list[Fault]:
    """Return the error of a unit that is not the line's; pieces have several codes."""
    item = sale_unit(unit) if unit else line.unit
    if item == line.unit or {item, line.unit} <= _ONES:
        return []
    return [Fault(at, "unit.other", f"Line {line.position} is ordered in {line.unit}, not {unit}.")]


def wrong_order(named: str, order: SupplierOrder) -> list[Fault]:
    """Return the error of a document that names another order."""
    if named == order.number:
        return []
    return [Fault("/OrderReference", "order.other", f"This address is of order {order.number}, not {named}.")]
