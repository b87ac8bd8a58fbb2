"""PDF of an order: the list for the yard, frozen when the order is placed."""

from __future__ import annotations

from quotes.documents.kinds.order_list import ORDER_LIST, order_list_pdf
from quotes.documents.models import Document, DocumentState
from quotes.documents.services import want_document
from quotes.purchasing.models import SupplierOrder
from quotes.purchasing.queries import order_sheet
from quotes.quoting.content_document import face
from quotes.quoting.json_values import plain
from shared.common.json_encoder import write_json


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
