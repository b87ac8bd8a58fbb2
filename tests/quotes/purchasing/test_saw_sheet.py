"""The saw sheet through the API: for agreed jobs, without money, within one business."""

from __future__ import annotations

import io
from collections.abc import Callable

import pypdf
import pytest
from django.test import Client

from quotes.purchasing.saw_sheets import cuttings_of
from shared.models import Business
from tests.conftest import Cast
from tests.quotes.purchasing.cast import agreed_job
from tests.quotes.quoting.cast import new_job

pytestmark = pytest.mark.django_db


def test_the_crew_reads_every_bar_of_an_agreed_job_and_no_money(
    yard: Business, cast: Cast, signed_in: Callable[..., Client]
) -> None:
    job = agreed_job(yard, 11300)
    answer = signed_in(cast.crew).get(f"/api/v1/jobs/{job.ref}/saw-sheet.pdf")
    assert (answer.status_code, answer["Content-Type"]) == (200, "application/pdf")
    text = "\n".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(answer.content)).pages)
    cuttings = cuttings_of(job)
    assert cuttings
    for length in {piece.length for item in cuttings for bar in item.bars for piece in bar.pieces}:
        assert str(length) in text
    places = {piece.used_at for item in cuttings if item.role == "rail" for bar in item.bars for piece in bar.pieces}
    assert {"A-1 bottom", "A-1 top"} <= places
    assert "A-1 top" in text
    assert job.number in text
    assert yard.currency not in text


def test_nothing_is_cut_for_what_is_not_agreed(yard: Business, owner_client: Client) -> None:
    job, _ = new_job(yard)
    answer = owner_client.get(f"/api/v1/jobs/{job.ref}/saw-sheet.pdf")
    assert (answer.status_code, answer.json()["code"]) == (409, "conflict")


def test_a_stranger_finds_no_such_job(yard: Business, cast: Cast, signed_in: Callable[..., Client]) -> None:
    job, _ = new_job(yard)
    assert signed_in(cast.stranger).get(f"/api/v1/jobs/{job.ref}/saw-sheet.pdf").status_code == 404
