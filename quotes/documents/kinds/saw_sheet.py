"""Saw sheet: the bars of a job with their cuts. Purchasing knows the bars, so it answers ``saw_sheet_asked``."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from types import MappingProxyType
from typing import Any

from fencing.buying.purchase_lines import Blank
from fencing.cautions import Reader, select_cautions
from fencing.cautions.facts import CautionFacts
from quotes.documents.document_kind import DocumentKind, revision_of
from quotes.documents.hooks import saw_sheet_of
from quotes.documents.number_format import strip
from quotes.documents.page_parts import face, safe
from quotes.documents.pdf import Variant, markup, render
from quotes.quoting.content import BusinessProfile

EMPTY: Mapping[str, str] = MappingProxyType({})
AT_THE_SAW = CautionFacts(sawing=True, cutting_coated=True)


def saw_cautions() -> list[str]:
    """Return the cautions for work at the saw."""
    return [item.text for item in select_cautions(AT_THE_SAW, Reader.CREW)]


def saw_sheet_pdf(
    job: str,
    drawings: Sequence[str],
    business: BusinessProfile,
    made: datetime,
    ripped: Sequence[Blank] = (),
    finishes: Mapping[str, str] = EMPTY,
) -> bytes:
    """Return the saw sheet: the drawn bars of a job by material, and the sheets whose strip is used again.

    ``finishes`` are the names of finish codes.
    """
    values = {
        "face": face(business),
        "strip": strip("Saw sheet", job, business.name),
        "made": made.isoformat(),
        "job": job,
        "cautions": saw_cautions(),
        "drawings": [{"svg": safe(svg)} for svg in drawings],
        "ripped": [_ripped(blank, finishes) for blank in ripped],
    }
    return render(markup("sawsheet", values), Variant.ACCESSIBLE, made)


def _ripped(blank: Blank, finishes: Mapping[str, str]) -> dict[str, Any]:
    (first, strip), finish = blank.takes, blank.finish or ""
    return {
        "sku": blank.sku,
        "finish": finishes.get(finish, finish),
        "first": _strip_data(first),
        "strip": _strip_data(strip),
    }


def _strip_data(take: tuple[int, int | None, str]) -> dict[str, Any]:
    length, width, where = take
    return {"length": length, "width": width, "where": where}


SAW_SHEET = DocumentKind(
    code="saw_sheet",
    label="saw sheet",
    make=lambda row: saw_sheet_of(revision_of(row)),
    asked_at="quote.accepted",
    for_crew=True,
)
