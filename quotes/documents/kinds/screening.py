"""Screening annex: the strength screening with suggested changes, their prices and the curves."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from quotes.documents.document_kind import DocumentKind, from_content
from quotes.documents.number_format import by_locale, strip
from quotes.documents.page_parts import CAPTIONS, job_name, place_of, safe
from quotes.documents.page_parts import face as letterhead
from quotes.documents.pdf import Variant, markup, render
from quotes.documents.strength_sheet import price_change, strength_sheet
from quotes.quoting.content import BusinessProfile, Content
from quotes.quoting.json_values import plain
from quotes.quoting.totals import NOTHING_CHOSEN, Choices, build_of

Document = Mapping[str, Any]


def annex_pdf(
    takeoff: Document, curves: Sequence[str], *, face: BusinessProfile, heading: str, place: str, made: datetime
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
    with by_locale(face.locale):
        strength = strength_sheet(takeoff, price_change(face.currency, face.locale))
    sheet = {
        "heading": heading,
        "place": place,
        "strength": strength,
        "curves": [{"svg": safe(svg), "caption": CAPTIONS["curves"]} for svg in curves],
        "system": takeoff["system"],
    }
    data = made.isoformat().replace("+00:00", "Z")
    foot = strip("Strength screening", heading, face.name)
    values = {"face": letterhead(face), "strip": foot, "made": data, "sheet": sheet}
    return render(markup("annex", values), Variant.ACCESSIBLE, made)


def is_annexed(content: Content, choices: Choices = NOTHING_CHOSEN) -> bool:
    """Return whether the pack has a screening annex, that is, whether the measure asks for the screening."""
    return "strength" in build_of(content, choices).takeoff


def screening_pdf(content: Content, choices: Choices = NOTHING_CHOSEN) -> bytes:
    """Return the screening annex with the prices of suggested changes: for the business, not for a party."""
    build = build_of(content, choices)
    takeoff = build.takeoff
    return annex_pdf(
        {**takeoff, "strength": {**takeoff["strength"], "suggested_changes": plain(build.suggested_changes)}},
        build.drawings.curves,
        face=content.business,
        heading=f"Quote {content.number}, revision {content.revision} · {job_name(content.job)}",
        place=place_of(content.site),
        made=content.dates.sent_at,
    )


SCREENING = DocumentKind(
    code="screening",
    label="screening annex",
    make=from_content(screening_pdf),
    asked_at="quote.accepted",
    is_needed=is_annexed,
    in_pack=screening_pdf,
)
