"""A variation reaches the crew: which sheet it replaces and what changed, on page 1 of the paper and on the phone."""

from __future__ import annotations

import io
from typing import Any

import pypdf
import pytest
from django.test import Client

from quotes.documents.kinds.set_out import set_out_pdf
from quotes.jobs import measure_services
from quotes.jobs.models import Job
from quotes.quoting.customer_responses import accept
from quotes.quoting.models import Revision
from quotes.quoting.queries import agreed, content_and_choices
from quotes.quoting.services import revise, send
from shared.models import Business
from tests.conftest import Cast
from tests.quotes.quoting.cast import PARTIES, actor_of, measure, sent, stock_up, token

pytestmark = pytest.mark.django_db


def _accept(revision: Revision) -> None:
    accept(token=token(revision, "owner"), name="Ada Quill", content_sha256=revision.content_sha256)


@pytest.fixture
def job(business: Business) -> Job:
    """Create a job with an accepted quote for runs A (7.2 m) and B (4.8 m)."""
    stock_up(business)
    _accept(sent(business, {"parties": PARTIES[:1]}, measure(7200, 4800)))
    return Job.objects.of(business).get()


def _vary(job: Job) -> None:
    """Agree that run A is 1.2 m longer."""
    first = agreed(job)
    assert first is not None
    actor = actor_of(job.business)
    version = measure_services.save_measure(
        measure=first.measure_version.measure, document=measure(8400, 4800), actor=actor
    )
    _accept(send(revision=revise(quote=first.quote, actor=actor, version=version), actor=actor))


def _first_page(job: Job) -> str:
    revision = agreed(job)
    assert revision is not None
    pdf = set_out_pdf(*content_and_choices(revision))
    return " ".join(pypdf.PdfReader(io.BytesIO(pdf)).pages[0].extract_text().split())


def test_the_first_sheet_replaces_nothing(job: Job) -> None:
    assert "replaces" not in _first_page(job)


def test_a_variation_says_on_page_1_which_sheet_it_replaces_and_what_changed(job: Job) -> None:
    _vary(job)
    text = _first_page(job)
    assert "revision 2. This sheet replaces the set-out sheet of revision 1 of quote" in text
    assert "A: length 8.400 m, previously 7.200 m." in text
    assert "P5 at 8.400 m, previously 7.200 m" in text
    assert "B:" not in text.partition("Safety warnings")[0]


def test_the_build_page_says_revision_and_change(job: Job, cast: Cast, signed_in: Any) -> None:
    crew: Client = signed_in(cast.crew)
    before = crew.get(f"/jobs/{job.ref}/build").content.decode()
    assert ", revision 1" in before
    assert "This sheet replaces" not in before
    _vary(job)
    after = crew.get(f"/jobs/{job.ref}/build").content.decode()
    assert ", revision 2" in after
    assert "This sheet replaces the set-out sheet of revision 1" in after
    assert "A: length 8.400 m, previously 7.200 m." in after
    assert "moved, previously 7.200 m" in after
