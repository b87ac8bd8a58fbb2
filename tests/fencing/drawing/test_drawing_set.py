"""Sets of drawings, on paper and kept with a job: never refused, in our own letters, each within its page."""

from __future__ import annotations

import logging
import re
from fractions import Fraction
from io import BytesIO
from pathlib import Path

import pytest
from pypdf import PdfReader
from weasyprint import HTML

from fencing import TakeOff
from fencing.drawing.drawing_set import DEEP, NARROW, NARROW_DEEP, PLAN_DEEP, WIDTH, draw_paper_set
from fencing.drawing.elevation import draw_elevation_bands
from fencing.drawing.plan_view import draw_plan
from fencing.drawing.set_out_strip import draw_set_out_bands
from fencing.model.measure import Gate, GateKind, Terminal
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


JOBS = {name: getattr(jobs, name) for name in ("one_bay", "yard", "zigzag", "kilometre", "rough", "cliff")}


@pytest.mark.parametrize("name", JOBS)
def test_every_drawing_of_the_set_is_whole_and_fits_its_page(name: str) -> None:
    takeoff: TakeOff = JOBS[name]()
    for kind, svg in [(kind, svg) for kind, svgs in draw_paper_set(takeoff).items() for svg in svgs]:
        _, _, width, height = (float(number) for number in reading.read(svg).get("viewBox", "").split())
        assert width == (NARROW if kind == "phone_drawings" else WIDTH)
        assert height <= (2 * NARROW_DEEP if kind == "phone_drawings" else DEEP)
        assert (reading.clashes(svg), reading.outside(svg)) == ([], [])


def test_alike_gates_are_detailed_once() -> None:
    # three gates of two kinds, and one typical bay
    gates = tuple(
        Gate(f"G{at}", at, opening, GateKind.SINGLE, 1800) for at, opening in ((2000, 900), (6000, 900), (10000, 1000))
    )
    assert len(draw_paper_set(jobs.job(jobs.run(length=14400, gates=gates)))["detail"]) == 1 + 2


def test_a_job_with_nothing_to_draw_has_an_empty_set() -> None:
    assert draw_paper_set(jobs.job()) == {
        "plan": [],
        "elevation": [],
        "set_out": [],
        "detail": [],
        "phone_drawings": [],
    }


def test_a_phone_shows_every_bay_in_letters_of_12_px_without_scrolling_sideways() -> None:
    # 328 px is what a phone of 360 leaves between its margins; a drawing of 72 mm is shown at 4.56 px to the mm
    takeoff = jobs.sixty_metres()
    narrow = draw_paper_set(takeoff)["phone_drawings"]
    assert min(item.size for svg in narrow for item in reading.words(svg)) * 328 / NARROW >= 12
    bays = [element.get("data-bay") for svg in narrow[1:] for element, _, _ in reading.marks(svg, "g-bay")]
    assert bays == [bay.id for run in takeoff.runs for bay in run.bays]


def test_the_plan_turns_where_that_shows_the_job_larger() -> None:
    # 4.8 m across and 24 m down: 240 mm at 1:100 and 120 at 1:200 are too deep for half a page; turned, 120 by 24 fits
    takeoff = jobs.job(jobs.run("A", 4800), jobs.run("B", 24000, turn=Fraction(90), start=Terminal.CORNER))
    assert reading.scale_of(draw_plan(takeoff, WIDTH, PLAN_DEEP)) == 500
    [turned] = draw_paper_set(takeoff)["plan"]
    assert reading.scale_of(turned) == 200
    ends = [reading.path_points(element, dx, dy) for element, dx, dy in reading.marks(turned, "d-run")]
    (start, _), (end, _) = ends[-1][0], ends[-1][-1]
    assert end > start  # the long run goes on to the right, as a page is read


@pytest.mark.parametrize("name", JOBS)
def test_figures_are_written_with_the_sign_that_is_asked_for(name: str) -> None:
    pointed, with_comma = (
        ["".join(reading.read(svg).itertext()) for svgs in draw_paper_set(JOBS[name](), sign).values() for svg in svgs]
        for sign in (".", ",")
    )
    assert any(re.search(r"\d\.\d", words) for words in pointed)
    assert with_comma == [re.sub(r"(?<=\d)\.(?=\d)", ",", words) for words in pointed]
