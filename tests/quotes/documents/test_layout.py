"""Every kind of document looked at by machine: margins, headings, totals, full pages, words apart, tags for screen readers."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from quotes.documents.kinds import KINDS
from quotes.documents.kinds.order_list import ORDER_LIST
from quotes.documents.kinds.quote import quote_pdf
from quotes.documents.kinds.set_out import set_out_pdf
from quotes.documents.models import Document
from quotes.documents.pdf import Variant, render
from quotes.documents.services import make, want_documents
from quotes.office.demo_data import FOLDER, load_business, scenario
from quotes.office.management.commands.quote import quote_measure
from quotes.purchasing.draft_orders import order_for
from quotes.purchasing.services import place
from quotes.quoting.content import read_content
from quotes.quoting.customer_responses import accept
from quotes.quoting.models import Revision
from quotes.quoting.queries import content_and_choices
from shared.business.actors import SYSTEM
from shared.models import Business
from tests.quotes.documents.looking import Looked, tag_faults
from tests.quotes.quoting.cast import token

LONG = "The Honourable Wilhelmina Featherstonehaugh-Cholmondeley and Partners, Trustees of the Lower Saltmarsh Estate"
UNBROKEN = "GrößenverträglichkeitsprüfungsübergangsbestimmungsñandúçéèêÅÄÖ" + "x" * 18
PAPERS = {"A4": (595, 842), "Letter": (612, 792)}


def fence(runs: int, **first: Any) -> dict[str, Any]:
    """Return a measure with this number of runs of different lengths, with a step and a gate."""
    rows: list[dict[str, Any]] = [
        {
            "id": f"R{place + 1}",
            "length_mm": 9000 + 310 * place,
            "turn_deg": 90 if place % 2 else -90,
            "levels": [[0, 0], [9000, -90 * (place % 4)]],
        }
        for place in range(runs)
    ]
    rows[0] |= {"turn_deg": 0, "gates": [{"id": "G", "from_mm": 3000, "opening_mm": 1000}], **first}
    defaults = {
        "height_mm": 1810,
        "form": "stepped",
        "layout": "even",
        "soil": "clay",
        "finishes": dict.fromkeys(("post", "rail", "sheet"), "saltmarl"),
    }
    strength = {"method": "given_pressure", "pressure_kpa": "0.30", "soil_class": "clay"}
    return {
        "schema": "measure-2", "label": f"A fence of {runs}", "system": "corrugated-50", "defaults": defaults, "runs": rows,
        "strength": strength,
    }  # fmt: skip


def business_with(**changes: str) -> Business:
    business = load_business(scenario()["business"])
    for name, value in changes.items():
        setattr(business, name, value)
    business.save()
    return business


def quoted(business: Business, document: dict[str, Any], customer: str = "Wren Sallow") -> Revision:
    return quote_measure(
        business=business, document=document, customer=customer, actor=SYSTEM, override_reason="to be looked at"
    )


def agreed(revision: Revision) -> Revision:
    for party in read_content(revision.content).parties:
        accept(token=token(revision, party.key), name=party.name, content_sha256=revision.content_sha256)
    revision.refresh_from_db()
    return revision


def every_paper(revision: Revision) -> Iterator[tuple[str, bytes]]:
    """Each document there is of an agreed revision, those of the orders it leads to among them."""
    content, choices = content_and_choices(revision)
    kinds = [kind for kind in KINDS.values() if kind.asked_at and kind.is_needed(content, choices)]
    for document in want_documents(revision=revision, kinds=kinds):
        yield document.kind, make(document)
    for order in order_for(jobs=[revision.quote.job], actor=SYSTEM):
        place(order=order, actor=SYSTEM, allow_below_minimum=True)
    for document in Document.objects.of(revision.business).filter(kind=ORDER_LIST.code):
        yield ORDER_LIST.code, make(document)


def look(pdf: bytes, folder: Path, paper: str = "A4") -> Looked:
    looked = Looked(pdf, folder)
    assert {(round(wide), round(high)) for wide, high in looked.sizes} == {PAPERS[paper]}
    assert looked.faults() == []
    assert tag_faults(pdf) == []
    return looked


@pytest.mark.slow
@pytest.mark.django_db
def test_every_kind_of_document_of_a_short_job_is_fit_to_be_shown(tmp_path: Path) -> None:
    seen = set()
    for kind, pdf in every_paper(agreed(quoted(business_with(), fence(1)))):
        look(pdf, tmp_path)
        seen.add(kind)
    assert seen == set(KINDS)


@pytest.mark.slow
@pytest.mark.django_db
def test_long_names_a_comma_and_letter_paper_are_no_worse(tmp_path: Path) -> None:
    business = business_with(name=UNBROKEN, paper_size="Letter", locale="de_DE")
    document = {**fence(2), "label": LONG}
    document["runs"][1]["id"] = "Rear-boundary-of-the-long-meadow"  # 32 letters: the longest there is
    for _, pdf in every_paper(agreed(quoted(business, document, UNBROKEN))):
        look(pdf, tmp_path, "Letter")


@pytest.mark.slow
@pytest.mark.django_db
def test_lattice_on_a_standing_fence_alone_is_fit_to_be_shown(tmp_path: Path) -> None:
    document = json.loads((FOLDER / "measures" / "5-lattice-on-existing-fence.json").read_text(encoding="utf-8"))
    del document["label"]
    for _, pdf in every_paper(agreed(quoted(business_with(), {**document, "label": "Lattice"}))):
        look(pdf, tmp_path)


@pytest.mark.slow
@pytest.mark.django_db
def test_25_runs_are_set_on_full_pages_with_the_total_beside_the_last_line(tmp_path: Path) -> None:
    content = read_content(quoted(business_with(), fence(25)).content)
    quote = look(quote_pdf(content, content.parties[0].key), tmp_path)
    last = content.builds[0].lines[-1].text
    assert on_one_page(quote, "Total before tax", last)
    assert len(look(set_out_pdf(content), tmp_path).words) > 25 / 3  # a run takes at least a third of a page


def on_one_page(looked: Looked, total: str, last: str) -> bool:
    [page] = [text for text in map(looked.text, range(len(looked.words))) if total in text]
    return last in page


@pytest.mark.slow
@pytest.mark.django_db
def test_a_variation_prints_what_is_added_removed_and_changed(tmp_path: Path) -> None:
    business = business_with()
    first = agreed(quoted(business, fence(2)))
    longer = fence(2)
    longer["runs"][0]["length_mm"] += 2260
    content = read_content(quoted(business, longer).content)
    looked = look(quote_pdf(content, content.parties[0].key), tmp_path)
    data = " ".join(map(looked.text, range(len(looked.words))))
    assert first.quote.number in data
    assert "Variation" in data
    # run R1 grows from 9.000 m by 2.260 m
    assert "changed: 9.000 m become 11.260 m" in data
    assert "Changes in quantities" in data
    assert content.difference is not None
    assert on_one_page(looked, "Total before tax", content.difference.lines[-1].text)


DOWN = "<p style='margin-top: 90mm'>x</p>"
BAD = {
    "ends with the heading": "<h1>One</h1><p>x</p><h2 style='margin-top: 235mm; break-after: auto'>Two</h2>"
    f"<p style='break-before: page'>x</p>{DOWN}",
    "almost empty": "<h1>One</h1><p style='margin-top: 200mm'>x</p><p style='break-before: page'>alone</p>",
    "overlap": f"<h1>One</h1><p>below</p><p style='margin-top: -7mm'>above</p>{DOWN}",
    "in the margin": f"<h1>One</h1><p style='margin-left: -9mm'>left</p>{DOWN}",
}


@pytest.mark.parametrize("fault", BAD)
def test_the_look_finds_what_is_wrong(tmp_path: Path, fault: str) -> None:
    html = f"<html lang='en' class='a4'><title>t</title><body>{BAD[fault]}</body></html>"
    pdf = render(html, Variant.ACCESSIBLE, datetime(2031, 3, 4, tzinfo=UTC))
    found = Looked(pdf, tmp_path).faults()
    assert [item for item in found if fault in item], found
    assert [item for item in found if fault not in item] == []


@pytest.mark.parametrize(
    ("fault", "body"),
    [
        ("follows one of level 1", "<h1>One</h1><h3>Three</h3>"),
        ("first level", "<h2>Two</h2><h1>One</h1>"),
        ("without head cells", "<h1>One</h1><table><tr><td>a</td></tr></table>"),
        ("without words", "<h1>One</h1><figure><svg width='9' height='9'><path d='M0 0h9'/></svg></figure>"),
    ],
)
def test_the_reader_of_tags_finds_what_is_wrong(fault: str, body: str) -> None:
    html = f"<html lang='en'><title>t</title><body>{body}</body></html>"
    found = tag_faults(render(html, Variant.ACCESSIBLE, datetime(2031, 3, 4, tzinfo=UTC)))
    assert [item for item in found if fault in item], found
