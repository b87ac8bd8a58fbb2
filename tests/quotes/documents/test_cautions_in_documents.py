"""Every caution of the register stands on the paper or page of each reader it concerns, and only there."""

from __future__ import annotations

import io
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

import pypdf
import pytest
from django.test import Client

from fencing.cautions.register import REGISTER, Reader
from quotes.documents.kinds.quote import quote_pdf
from quotes.documents.kinds.saw_sheet import saw_sheet_pdf
from quotes.documents.kinds.set_out import set_out_pdf
from quotes.purchasing.models import OrderLine
from quotes.purchasing.queries import loading_cautions
from quotes.quoting.content import Content, read_content
from quotes.quoting.content_document import assemble, face
from quotes.quoting.models import Revision
from shared.business.models import Person
from shared.models import Business
from tests.conftest import Cast
from tests.forms import press
from tests.quotes.quoting.cast import drafted, measure, sent, stock_up

SignIn = Callable[[Person], Client]
PARTIES = [{"key": "owner", "name": "Ada Quill", "email": "ada@example.test", "chooses_options": True}]
NEAR = {"pool_runs": ["A"], "near_driveway": True, "height_limit_mm": 1000}
NOT_BESIDE_A_KNOWN_POOL = {"pool.ask"}


def everything() -> dict[str, Any]:
    """A job that calls for every caution: a low lattice-topped run by a pool, a step, a gate, an old fence, a retrofit."""
    gate = {"id": "A-G1", "from_mm": 5000, "opening_mm": 1000}
    document = measure(9600, gates=[gate], height_mm=1100, lattice_mm=340, form="stepped", layout="from_start")
    document["runs"][0] |= {
        "levels": [[0, 0], [9600, -900]],
        "existing_fence": {"kind": "Fibre cement", "length_mm": 9600},
    }
    document["retrofits"] = [{"id": "R1", "bays_mm": [2200, 2200], "lattice_mm": 340, "existing_height_mm": 1500}]
    document["strength"] = {"method": "given_pressure", "pressure_kpa": "0.15", "soil_class": "gravel"}
    return document


def plain(text: str) -> str:
    return "".join(text.split())


def text_of(pdf: bytes) -> str:
    return plain(" ".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(pdf)).pages))


def opening(words: str) -> str:
    """Return the fixed part of a caution: the text up to its first number."""
    return plain(words.partition("{")[0])[:60]


@pytest.fixture
def papers(business: Business, signed_in: SignIn, cast: Cast) -> dict[Reader, str]:
    stock_up(business)
    setup = {"parties": PARTIES, "site_conditions": NEAR}
    revision = drafted(business, setup, everything())
    page = signed_in(cast.estimator).get(f"/revisions/{revision.ref}").content.decode()
    content = content_of(revision)
    return {
        Reader.CUSTOMER: text_of(quote_pdf(content, "owner")),
        Reader.CREW: text_of(set_out_pdf(content)),
        Reader.OWNER: plain(page.replace("&#x27;", "'")),
    }


def content_of(revision: Revision) -> Content:
    return assemble(revision, now=datetime(2031, 3, 4, tzinfo=UTC))


def test_every_caution_stands_before_everybody_it_concerns(papers: dict[Reader, str]) -> None:
    missing, misplaced = [], []
    for caution in REGISTER:
        for reader, paper in papers.items():
            if reader not in caution.words:
                continue
            stands = opening(caution.words[reader]) in paper
            if caution.id in NOT_BESIDE_A_KNOWN_POOL and stands:
                misplaced.append((caution.id, reader))
            elif caution.id not in NOT_BESIDE_A_KNOWN_POOL and not stands:
                missing.append((caution.id, reader))
    assert (missing, misplaced) == ([], [])


def test_a_plain_job_is_asked_about_a_pool_and_warned_of_nothing_it_has_not(business: Business) -> None:
    stock_up(business)
    content = read_content(sent(business, document=measure(9000)).content)
    text = text_of(quote_pdf(content, "owner"))
    by_id = {
        caution.id: opening(caution.words[Reader.CUSTOMER]) for caution in REGISTER if Reader.CUSTOMER in caution.words
    }
    assert by_id["pool.ask"] in text
    for absent in (
        "pool",
        "pool.low",
        "pool.gap",
        "fibre.cement",
        "removal",
        "retrofit",
        "gates",
        "driveway",
        "height.over",
    ):
        assert by_id[absent] not in text, absent


def test_the_saw_sheet_has_the_cautions_of_the_saw(business: Business) -> None:
    text = text_of(saw_sheet_pdf("J1", [], face(business), datetime(2031, 3, 4, tzinfo=UTC)))
    words = {caution.id: opening(caution.words[Reader.CREW]) for caution in REGISTER if Reader.CREW in caution.words}
    assert words["sawing"] in text
    assert words["coated"] in text
    assert words["services"] not in text


def test_a_pool_run_there_is_not_is_a_fault_of_the_draft(business: Business, signed_in: SignIn, cast: Cast) -> None:
    stock_up(business)
    setup = {"parties": PARTIES, "site_conditions": {"pool_runs": ["Z"]}}
    revision = drafted(business, setup, measure(9000))
    page = signed_in(cast.estimator).get(f"/revisions/{revision.ref}").content.decode()
    assert "There is no run &#x27;Z&#x27; in the measure." in page


def test_what_is_near_is_typed_and_kept(business: Business, signed_in: SignIn, cast: Cast) -> None:
    stock_up(business)
    revision = drafted(business, {"parties": PARTIES}, measure(9000, 6000))
    client = signed_in(cast.estimator)
    typed = {
        "do": "save", "parties-0-key": "owner", "parties-0-name": "Ada Quill", "parties-0-must_accept": "1",
        "chooses_options": "owner",
        "pool_runs": "A, B", "height_limit_mm": "1800", "near_driveway": "1",
    }  # fmt: skip
    press(client, f"/revisions/{revision.ref}", typed)
    revision.refresh_from_db()
    assert revision.setup["site_conditions"] == {
        "pool_runs": ["A", "B"],
        "near_driveway": True,
        "height_limit_mm": 1800,
    }
    page = client.get(f"/revisions/{revision.ref}").content.decode()
    assert 'value="A, B"' in page


def test_the_order_list_has_the_cautions_of_who_loads(business: Business) -> None:
    words = {
        caution.id: opening(caution.words[Reader.SUPPLIER]) for caution in REGISTER if Reader.SUPPLIER in caution.words
    }
    rails, sheets = OrderLine(role="rail"), OrderLine(role="sheet")
    assert set(words) == {"lifting", "edges"}
    assert words["lifting"] in plain(" ".join(loading_cautions([rails])))
    assert words["edges"] not in plain(" ".join(loading_cautions([rails])))
    assert words["edges"] in plain(" ".join(loading_cautions([rails, sheets])))
