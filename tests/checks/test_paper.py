"""The paper our documents are set on, against ISO 216 and ANSI Y14.1."""

from __future__ import annotations

from datetime import UTC, datetime
from io import BytesIO

import pytest
from pypdf import PdfReader

from quotes.documents.pdf import Variant, render
from tests.checks.outside import Outside


@pytest.mark.parametrize(
    ("paper", "source", "theirs"),
    [("a4", "ISO 216, A4", [210.0, 297.0]), ("letter", "ANSI Y14.1, size A (8.5 by 11 in)", [215.9, 279.4])],
)
def test_pages_have_the_size_of_their_paper(outside: Outside, paper: str, source: str, theirs: list[float]) -> None:
    html = f'<html lang="en" class="{paper}"><head><title>Paper</title></head><body><p>A page.</p></body></html>'
    page = PdfReader(BytesIO(render(html, Variant.ACCESSIBLE, datetime(2026, 3, 2, tzinfo=UTC)))).pages[0]
    ours = [round(float(points) * 25.4 / 72, 1) for points in (page.mediabox.width, page.mediabox.height)]
    outside(f"page set for {paper}", stage="documents", source=source, ours=ours, theirs=theirs, unit="mm")
