"""Screening annex: the strength screening with suggested changes, their prices and the curves."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from quotes.documents.document_kind import DocumentKind, from_content
from quotes.documents.number_format import by_locale, strip
from quotes.documents.page_parts import CAPTIONS, job_name, made_at, place_of, safe
from quotes.documents.page_parts import face as letterhead
from quotes.documents.pdf import Variant, markup, render
from quotes.documents.strength_sheet import price_change, strength_sheet
from quotes.quoting.variation_changes import standing_build

Document = Mapping[str, Any]


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


def is_annexed(content: Document, choices: Mapping[str, Any] | None = None) -> bool:
    """Return whether the pack has a screening annex, that is, whether the measure asks for the screening."""
    return "strength" in standing_build(content, choices)["takeoff"]


def screening_pdf(content: Document, choices: Mapping[str, Any] | None = None) -> bytes:
    """Return the screening annex with the prices of suggested changes: for the business, not for a party."""
    build = standing_build(content, choices)
    takeoff = build["takeoff"]
    return annex_pdf(
        {**takeoff, "strength": {**takeoff["strength"], "suggested_changes": build["suggested_changes"]}},
        build["drawings"]["curves"],
        face=content["business"],
        heading=f"Quote {content['number']}, revision {content['revision']} · {job_name(content)}",
        place=place_of(content["site"]),
        made=made_at(content),
    )


SCREENING = DocumentKind(
    code="screening",
    label="screening annex",
    make=from_content(screening_pdf),
    asked_at="quote.accepted",
    is_needed=is_annexed,
    in_pack=screening_pdf,
)
