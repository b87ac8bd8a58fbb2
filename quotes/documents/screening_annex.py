"""The screening annex: the strength screening by itself, with what would help, its prices and the curves."""

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
    """A site in one line."""
    return ", ".join(filter(None, (" ".join(site["address"].split()), site["place"])))


def annex_pdf(
    takeoff: Document, curves: Sequence[str], *, face: Document, heading: str, place: str, made: datetime
) -> bytes:
    """The annex of a screened take-off.

    Args:
        takeoff: its document, with ``strength``; remedies with their costs where the reader may see them.
        curves: the screening curves as SVG.
        face: of the business (``quotes.quoting.content_document.face``).
        heading: what was screened: job, measure or quote.
        place: where it stands.
        made: the time it bears.
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
