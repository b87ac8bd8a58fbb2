"""Earlier versions of a measure: shown, compared with the newest, and restored without losing the draft."""

from __future__ import annotations

import json
from collections.abc import Callable

import pytest
from django.test import Client

from catalogue.models import FenceSystem
from quotes.jobs.measure_services import save_draft, save_measure
from quotes.jobs.models import StoredMeasure
from shared.business.models import Person
from shared.models import Business
from tests.conftest import Cast
from tests.forms import press, seen_on
from tests.quotes.quoting.cast import actor_of, measure, new_job, stock_up

pytestmark = pytest.mark.django_db
SignIn = Callable[[Person], Client]


@pytest.fixture
def twice(business: Business) -> StoredMeasure:
    """Save a measure at 9 m, then at 12 m."""
    stock_up(business)
    _, version = new_job(business, measure(9000))
    row = version.measure
    save_measure(measure=row, document=measure(12000), actor=actor_of(business))
    return row


def _length(row: StoredMeasure) -> int | None:
    row.refresh_from_db()
    return json.loads(row.draft)["runs"][0]["length_mm"] if row.draft else None


def test_versions_are_listed_and_each_says_what_has_moved_since(twice: StoredMeasure, owner_client: Client) -> None:
    listed = owner_client.get(f"/measures/{twice.ref}/versions").content.decode()
    assert "9.000 m" in listed
    assert "12.000 m" in listed
    first = owner_client.get(f"/measures/{twice.ref}/versions/1").content.decode()
    assert "Changes since this version" in first
    assert "version 1 of 2" in first
    newest = owner_client.get(f"/measures/{twice.ref}/versions/2").content.decode()
    assert "Changes since this version" not in newest
    assert "Restore this version" not in newest
    assert f"/measures/{twice.ref}/versions" in owner_client.get(f"/measures/{twice.ref}").content.decode()


def test_an_earlier_version_becomes_the_typing_and_kept_the_next_version(
    twice: StoredMeasure, owner_client: Client
) -> None:
    answer = press(owner_client, f"/measures/{twice.ref}/versions/1", {})
    assert answer["Location"] == f"/measures/{twice.ref}"
    assert _length(twice) == 9000
    assert (
        owner_client.post(f"/api/v1/measures/{twice.ref}/draft/publish", headers={"If-Match": "*"}).status_code == 200
    )
    assert [row.number for row in twice.versions.order_by("number")] == [1, 2, 3]


def test_what_is_typed_is_dropped_only_when_that_is_said(twice: StoredMeasure, owner_client: Client) -> None:
    save_draft(measure=twice, text=json.dumps(measure(10000)))
    refused = press(owner_client, f"/measures/{twice.ref}/versions/1", {})
    assert refused.status_code == 422
    assert _length(twice) == 10000
    press(owner_client, f"/measures/{twice.ref}/versions/1", {"drop": "1"})
    assert _length(twice) == 9000


def test_what_somebody_typed_meanwhile_is_not_dropped(twice: StoredMeasure, owner_client: Client) -> None:
    shown = seen_on(owner_client, f"/measures/{twice.ref}/versions/1")
    save_draft(measure=twice, text=json.dumps(measure(10000)))
    refused = owner_client.post(f"/measures/{twice.ref}/versions/1", {**shown, "drop": "1"})
    assert refused.status_code == 412
    assert "Unsaved draft was none and is now" in refused.content.decode()
    assert _length(twice) == 10000


def test_only_those_who_measure_see_versions(twice: StoredMeasure, cast: Cast, signed_in: SignIn) -> None:
    at = f"/measures/{twice.ref}/versions"
    for address in (at, f"{at}/1"):
        assert signed_in(cast.crew).get(address).status_code == 403
        assert signed_in(cast.stranger).get(address).status_code == 404
    assert signed_in(cast.owner).get(f"{at}/7").status_code == 404


def test_a_version_whose_fence_system_is_gone_says_why_and_can_be_taken_up(
    twice: StoredMeasure, owner_client: Client, business: Business
) -> None:
    FenceSystem.objects.of(business).filter(code="corrugated-50").update(code="corrugated-60")
    page = owner_client.get(f"/measures/{twice.ref}/versions/1")
    assert page.status_code == 200
    assert "Drawing not available" in page.content.decode()
    press(owner_client, f"/measures/{twice.ref}/versions/1", {})
    assert _length(twice) == 9000
    assert twice.draft_errors
