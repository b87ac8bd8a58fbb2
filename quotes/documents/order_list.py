"""Order list for the supplier as PDF, grouped in picking order."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from quotes.documents.number_format import strip
from quotes.documents.pdf import Variant, markup, render
from quotes.documents.quote_sheet import face


def orderlist_pdf(sheet: Mapping[str, Any], business: Mapping[str, Any], made: datetime) -> bytes:
    """Return the order list as PDF.

    Args:
        sheet: the values of an order (``quotes.purchasing.queries.order_sheet``).
        business: the business's profile (``quotes.quoting.content_document.face``).
        made: the time it carries.
    """
    foot = strip(sheet["heading"], sheet["supplier"], business["name"])
    values = {"face": face(business), "strip": foot, "made": made.isoformat(), "sheet": sheet}
    return render(markup("orderlist", values), Variant.ACCESSIBLE, made)
