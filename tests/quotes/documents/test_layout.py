"""Pages looked at by machine: nothing outside the margins, no heading alone at a page's foot, totals beside their last lines."""

from __future__ import annotations

import io
import subprocess
from pathlib import Path
from typing import Any

import numpy as np
import pypdf
import pytest
from PIL import Image

from quotes.desk.scenario import load_business, scenario
from quotes.documents.pack import crew_pdf, quote_pdf
from quotes.jobs.canonical import parsed
from quotes.offers.answering import accept
from quotes.offers.quoting import quote_measure
from shared.business.actors import SYSTEM
from shared.models import Business
from tests.quotes.offers.cast import token

pytestmark = pytest.mark.django_db
DPI = 60
LONG = "The Honourable Wilhelmina Featherstonehaugh-Cholmondeley and Partners, Trustees of the Lower Saltmarsh Estate"
LONG += " Unbrokenverylongnamewithoutanyspacewhatsoever" * 2
PAPERS = {"A4": (595, 842), "Letter": (612, 792)}
HEADINGS = {
    "Scope", "Price", "Payments", "Terms", "Cut list", "Strength screening", "Choices", "What will be built",
    "Before and after the work", "Numbers in the drawings", "What would help", "Cautions first",
}  # fmt: skip


def fence(runs: int, **first: Any) -> dict[str, Any]:
    """A measure of so many runs, a step and a gate among them; each with its own length."""
    rows: list[dict[str, Any]] = [
        {
            "id": f"R{place + 1}",
            "length_mm": 9000 + 310 * place,
            "turn_deg": 90 if place % 2 else -90,
            "levels": [[0, 0], [9000, -90 * (place % 4)]],
        }
        for place in range(runs)
    ]
    rows[0] |= {"turn_deg": 0, **first}
    defaults = {
        "height_mm": 1810,
        "form": "stepped",
        "layout": "even",
        "soil": "clay",
        "colours": dict.fromkeys(("post", "rail", "sheet"), "saltmarl"),
    }
    strength = {"method": "given_pressure", "pressure_kpa": "0.30", "soil_class": "clay"}
    return {
        "site_measure": 1, "label": f"A fence of {runs}", "system": "corrugated-50", "defaults": defaults, "runs": rows,
        "strength": strength,
    }  # fmt: skip


@pytest.fixture
def larkrow(db: None) -> Business:
    return load_business(scenario()["business"])


def content_of(business: Business, document: dict[str, Any], customer: str = "Wren Sallow") -> dict[str, Any]:
    revision = quote_measure(
        business=business, document=document, customer=customer, actor=SYSTEM, override_reason="to be looked at"
    )
    content: dict[str, Any] = parsed(revision.content)
    return content


def pages(pdf: bytes, folder: Path) -> list[np.ndarray[Any, Any]]:
    """Every page in grey, a number for each dot."""
    (folder / "made.pdf").write_bytes(pdf)
    subprocess.run(["pdftoppm", "-r", str(DPI), "-gray", "made.pdf", "page"], cwd=folder, check=True, timeout=60)
    made = [np.asarray(Image.open(file)) for file in sorted(folder.glob("page*.pgm"))]
    for file in folder.glob("page*.pgm"):
        file.unlink()
    return made


def lines_of(pdf: bytes) -> list[list[str]]:
    """Lines of every page, without the strip at the foot, which is on all of them."""
    texts = [page.extract_text().splitlines() for page in pypdf.PdfReader(io.BytesIO(pdf)).pages]
    found = [[line.strip() for line in lines if line.strip() and not line.startswith("page ")] for lines in texts]
    strip = set.intersection(*map(set, found)) if len(found) > 1 else set[str]()
    return [[line for line in lines if line not in strip] for lines in found]


def check(pdf: bytes, paper: str, folder: Path) -> int:
    """Margins white, paper as asked, no page almost empty but the last, no heading last on a page. Returns the pages."""
    reader = pypdf.PdfReader(io.BytesIO(pdf))
    for sheet in reader.pages:
        assert (round(sheet.mediabox.width), round(sheet.mediabox.height)) == PAPERS[paper]
    drawn = pages(pdf, folder)
    edge = round(11 / 25.4 * DPI)  # margins are 15 mm: nothing prints in the outer 11
    for number, page in enumerate(drawn, 1):
        sides = (page[:edge], page[:, :edge], page[:, -edge:])
        assert all(side.min() > 250 for side in sides), f"something runs out of page {number}"
    for page_lines in lines_of(pdf):
        assert page_lines[-1] not in HEADINGS
    return len(drawn)


@pytest.mark.parametrize(("runs", "paper"), [(1, "A4"), (1, "Letter"), (25, "A4")])
def test_pages_hold_what_is_on_them(larkrow: Business, tmp_path: Path, runs: int, paper: str) -> None:
    gate = {"id": "G", "from_mm": 3000, "opening_mm": 1000}
    content = content_of(larkrow, fence(runs, gates=[gate]), LONG[:120])
    content["business"]["paper"] = paper
    content["job"]["label"] = content["site"]["address"] = LONG
    content["business"]["name"] = LONG
    quote = quote_pdf(content, content["parties"][0]["key"])
    for pdf in (quote, crew_pdf(content, "setout")):
        # a run takes at least a third of a page in either document
        assert check(pdf, paper, tmp_path) > runs / 3
    last = content["builds"][0]["lines"][-1]["text"]
    with_total = [text for text in map(" ".join, lines_of(quote)) if "Total before tax" in text]
    assert len(with_total) == 1
    assert last in with_total[0], "the total stands on the page of the last line"


def test_a_variation_prints_what_is_added_removed_and_changed(larkrow: Business, tmp_path: Path) -> None:
    first = quote_measure(
        business=larkrow, document=fence(2), customer="Wren Sallow", actor=SYSTEM, override_reason="x"
    )
    key = parsed(first.content)["parties"][0]["key"]
    accept(token=token(first, key), name="Wren Sallow", content_sha256=first.content_sha256)
    longer = fence(2)
    longer["runs"][0]["length_mm"] += 2260
    pdf = quote_pdf(content_of(larkrow, longer), key)
    text = "\n".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(pdf)).pages)
    told = " ".join(text.split())
    assert "Variation" in told
    # run R1 grows from 9.000 m by 2.260 m
    assert "changed: 9.000 m become 11.260 m" in told
    assert "More and less of each part" in told
    assert "Rails" in told
    check(pdf, "A4", tmp_path)
