"""Screening annex: the strength screening with suggested changes, their prices and the curves."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from quotes.documents.number_format import by_locale, strip
from quotes.documents.pdf import Variant, markup, render
from quotes.documents.quote_sheet import CAPTIONS, safe
from quotes.documents.quote_sheet import face as letterhead
from quotes.documents.strength_sheet import price_change, strength_sheet

Document = Mapping[str, Any]


def place_of(site: Document) -> str:
    """Return a site's address in one line."""
    return ", ".join(filter(None, (" ".join(site["address"].split()), site["city"])))


def annex_pdf(
    takeoff: Document, curves: Sequence[str], *, face: Document, heading: str, place: str, made: datetime
) -> bytes:
    """Return the annex of a screened take-off as PDF.

    Args:
        takeoff: its document, with ``strength``; suggested changes have costs only if the reader may see them.
        curves: the screening curves as SVG.
        face: the business's profile (``quotes.quoting.content_document.face``).
        heading: name of the screened job, measure or quote.
        place: address of the site.
        made: the time it carries.
    """
    with by_locale(face["locale"]):
        strength = strength_sheet(takeoff, price_change(face["currency"], face["locale"]))
    sheet = {
        "heading": heading,
        "place": place,
        "strength": strength,
        "curves": [{"svg": safe(svg), "caption": CAPTIONS["curves"]} for svg in curves],
        "system": takeoff["system"],
    }
    data = made.isoformat().replace("+00:00", "Z")
    foot = strip("Strength screening", heading, face["name"])
    values = {"face": letterhead(face), "strip": foot, "made": data, "sheet": sheet}
    return render(markup("annex", values), Variant.ACCESSIBLE, made)
