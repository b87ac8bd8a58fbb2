"""Drafts of measures: nothing is saved without an entry, and no entry is lost."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.test import Client

from quotes.jobs.measure_services import save_draft, start_measure
from quotes.jobs.models import StoredMeasure
from quotes.office.measure_drafts import current_document, offered
from quotes.office.measure_fields import sheet_fields
from quotes.office.run_fields import FormChoices
from shared.business.models import Person
from shared.models import Business
from tests.conftest import Cast
from tests.quotes.quoting.cast import actor_of, measure, new_job, stock_up

pytestmark = pytest.mark.django_db


@pytest.fixture
def client(signed_in: Callable[[Person], Client], cast: Cast) -> Client:
    return signed_in(cast.estimator)


@pytest.fixture
def saved_measure(business: Business) -> StoredMeasure:
    stock_up(business)
    _, version = new_job(business, measure(9000))
    return version.measure


def _post(client: Client, row: StoredMeasure, **typed: str) -> None:
    document = current_document(row)
    fields = sheet_fields(document, offered(row.business, document["system"])).all()
    posted = (
        {field.name: field.value for field in fields}
        | {"do": "draw", "version": str(row.version), "page": "one"}
        | typed
    )
    assert client.post(f"/measures/{row.ref}", posted, headers={"HX-Request": "true"}).status_code == 200
    row.refresh_from_db()


def test_drawing_a_kept_measure_again_makes_no_draft_of_it(client: Client, saved_measure: StoredMeasure) -> None:
    _post(client, saved_measure)  # as a phone does when it is turned
    assert (saved_measure.draft, saved_measure.draft_at) == ("", None)


def test_what_is_typed_makes_a_draft_and_typing_it_back_stays_one(client: Client, saved_measure: StoredMeasure) -> None:
    _post(client, saved_measure, **{"runs/0/length_mm": "9.5"})
    assert current_document(saved_measure)["runs"][0]["length_mm"] == 9500
    _post(client, saved_measure, **{"runs/0/length_mm": "9"})
    assert current_document(saved_measure)["runs"][0]["length_mm"] == 9000
    assert saved_measure.draft_at is not None


def test_nothing_is_wrong_with_a_measure_before_anybody_has_typed(client: Client, business: Business) -> None:
    stock_up(business)
    job, _ = new_job(business, measure(9000))
    begun = start_measure(job=job, actor=actor_of(business), label="New")
    page = client.get(f"/measures/{begun.ref}").content.decode()
    assert "Enter the length of run A" in page
    assert "1 error" not in page
    assert 'aria-invalid="true"' not in page
    _post(client, begun, **{"runs/0/length_mm": "long"})
    assert "1 error" in client.get(f"/measures/{begun.ref}").content.decode()


def test_a_measure_begun_before_there_was_a_fence_system_takes_the_one_there_is(
    client: Client, business: Business
) -> None:
    stock_up(business)
    job, _ = new_job(business, measure(9000))
    begun = '{"label": "Early", "runs": [{"id": "A", "length_mm": 9000}], "schema": "measure-2", "system": ""}'
    row = save_draft(measure=start_measure(job=job, actor=actor_of(business)), text=begun)
    assert current_document(row)["system"] == "corrugated-50"
    _post(client, row)
    assert '"system":"corrugated-50"' in row.draft.replace(
        " ", ""
    )  # the saved document is the shown one, and can be taken off


def test_a_list_without_a_choice_shows_none() -> None:
    without = {"label": "Ended", "runs": [], "system": ""}
    chosen = next(
        field
        for field in sheet_fields(without, FormChoices([("corrugated-50", "Sheet")], [], [])).all()
        if field.name == "system"
    )
    assert (chosen.value, chosen.choices[0]) == ("", ("", "Select a fence system"))
    lattice = {"defaults": {"lattice_mm": 0}, "runs": []}
    top = next(
        field
        for field in sheet_fields(lattice, FormChoices([], [], [340])).all()
        if field.name == "defaults/lattice_mm"
    )
    assert top.shown == "no lattice"
