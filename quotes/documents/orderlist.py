"""The supplier's order list as PDF and CSV: grouped the way a yard picks."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from quotes.documents.quotesheet import face
from quotes.documents.rendering import Variant, markup, render
from shared.cells import guarded


def orderlist_pdf(sheet: Mapping[str, Any], business: Mapping[str, Any], made: datetime) -> bytes:
    """The order list.

    Args:
        sheet: what ``quotes.orders.queries.order_sheet`` tells of an order.
        business: the business's face (``quotes.offers.content.face``).
        made: the time it bears.
    """
    strip = f"{sheet['heading']} · {sheet['supplier']} · {business['name']}"
    values = {"face": face(business), "strip": strip, "made": made.isoformat(), "sheet": sheet}
    return render(markup("orderlist", values), Variant.ACCESSIBLE, made)


COLUMNS = ("group", "sku", "text", "length", "finish", "quantity", "packs", "each", "amount")


def order_csv(sheet: Mapping[str, Any]) -> bytes:
    """The same list for a spreadsheet: UTF-8 with a byte order mark, RFC 4180; no cell is run as a formula."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(COLUMNS)
    for group in sheet["groups"]:
        for line in group["lines"]:
            writer.writerow([guarded(str({**line, "group": group["heading"]}[name])) for name in COLUMNS])
    return b"\xef\xbb\xbf" + out.getvalue().encode()
