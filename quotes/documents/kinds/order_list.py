"""Order list for the supplier, grouped in picking order. It is made from the values that the order had when it was placed."""

from __future__ import annotations

import json
from datetime import datetime
from typing import TYPE_CHECKING

from quotes.documents.document_kind import DocumentKind
from quotes.documents.number_format import strip
from quotes.documents.page_parts import face
from quotes.documents.pdf import Variant, markup, render
from quotes.quoting.content import BusinessProfile
from quotes.quoting.json_values import to_value

if TYPE_CHECKING:
    from quotes.documents.models import Document


def order_list_pdf(content: str) -> bytes:
    """Return the order list as PDF.

    Args:
        content: JSON of ``sheet`` (``quotes.purchasing.queries.order_sheet``), ``business``
            (``quotes.quoting.content_document.face``) and ``made``, the time it carries.
    """
    data = json.loads(content)
    sheet, business = data["sheet"], to_value(data["business"], BusinessProfile)
    made = datetime.fromisoformat(data["made"])
    foot = strip(sheet["heading"], sheet["supplier"], business.name)
    values = {"face": face(business), "strip": foot, "made": made.isoformat(), "sheet": sheet}
    return render(markup("orderlist", values), Variant.ACCESSIBLE, made)


def _make(row: Document) -> bytes:
    return order_list_pdf(row.content)


ORDER_LIST = DocumentKind(code="order_list", label="order list", make=_make)
