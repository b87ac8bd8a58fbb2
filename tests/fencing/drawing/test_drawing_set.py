"""Drawings on paper: WeasyPrint sets them in our own letters, at the size they say, without complaint."""

from __future__ import annotations

import logging
from io import BytesIO
from pathlib import Path

import pytest
from pypdf import PdfReader
from weasyprint import HTML

from fencing.drawing.elevation import draw_elevation_bands
from fencing.drawing.plan_view import draw_plan
from fencing.drawing.set_out_strip import draw_set_out_bands
from tests.fencing.drawing import jobs, reading

FONTS = Path(__file__).parents[3] / "shared" / "pages" / "static" / "fonts"
FACES = "".join(
    f'@font-face {{ font-family: B612; font-weight: {weight}; src: url("{(FONTS / file).as_uri()}") }}'
    for weight, file in ((400, "B612-Regular.otf"), (700, "B612-Bold.otf"))
)


@pytest.fixture(scope="module")
def drawings() -> list[str]:
    takeoff = jobs.yard()
    return [
        draw_plan(takeoff, 190, 180),
        *draw_elevation_bands(takeoff, 190, 265),
        *draw_set_out_bands(takeoff, 190, 265),
    ]


@pytest.fixture(scope="module")
def paper(drawings: list[str]) -> PdfReader:
    sheets = "".join(f"<div>{svg}</div>" for svg in drawings)
    css = f"{FACES} @page {{ size: 210mm 297mm; margin: 10mm }} body {{ margin: 0 }} div + div {{ break-before: page }}"
    return PdfReader(BytesIO(HTML(string=f"<style>{css}</style>{sheets}").write_pdf()))


def test_every_drawing_takes_one_page(paper: PdfReader, drawings: list[str]) -> None:
    assert len(paper.pages) == len(drawings)


def test_every_word_is_on_paper(paper: PdfReader, drawings: list[str]) -> None:
    for page, svg in zip(paper.pages, drawings, strict=True):
        printed = "".join(page.extract_text().split())
        assert [item.text for item in reading.words(svg) if "".join(item.text.split()) not in printed] == []


def test_only_our_own_letters_are_used(paper: PdfReader) -> None:
    fonts = {
        str(font.get_object()["/BaseFont"]).rpartition("+")[2]
        for page in paper.pages
        for font in page["/Resources"]["/Font"].values()  # type: ignore[index]
    }
    assert {name.split("-")[0] for name in fonts} == {"B612"}


def test_nothing_in_a_drawing_is_beyond_the_printer(drawings: list[str], caplog: pytest.LogCaptureFixture) -> None:
    logger = logging.getLogger("weasyprint")
    before = logger.propagate
    logger.propagate = True
    try:
        with caplog.at_level(logging.WARNING, logger="weasyprint"):
            HTML(string=f"<style>{FACES}</style>{drawings[0]}").write_pdf()
    finally:
        logger.propagate = before
    assert caplog.messages == []
