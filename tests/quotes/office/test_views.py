"""Pages of a job: its materials afterwards, and earlier versions of its measure."""

from __future__ import annotations

import json
from collections.abc import Callable
from decimal import Decimal

import pytest
from django.test import Client

from catalogue.models import FenceSystem
from quotes.jobs.as_built import record_built
from quotes.jobs.measure_services import save_draft, save_measure
from quotes.jobs.models import AsBuilt, Job, StoredMeasure
from quotes.purchasing.models import StockItem
from shared.business.models import Person
from shared.models import Business
from tests.conftest import Cast
from tests.forms import press, seen_on
from tests.quotes.purchasing.cast import agreed_job, component_of
from tests.quotes.quoting.cast import actor_of, measure, new_job, stock_up

pytestmark = pytest.mark.django_db


SignIn = Callable[[Person], Client]


@pytest.fixture
def agreed(business: Business) -> Job:
    stock_up(business)
    return agreed_job(business, 7200)


def brought(job: Job, **details: object) -> AsBuilt:
    data = {"kind": "returned", "role": "rail", "quantity": Decimal(2), **details}
    return record_built(job=job, actor=actor_of(job.business), **data)  # type: ignore[arg-type]  # as the crew tells it


def test_quoted_stands_beside_used_and_the_job_leads_there(agreed: Job, owner_client: Client) -> None:
    record_built(job=agreed, kind="used", role="rail", quantity=Decimal(9), actor=actor_of(agreed.business))
    assert f"/jobs/{agreed.ref}/materials" in owner_client.get(f"/jobs/{agreed.ref}").content.decode()
    page = owner_client.get(f"/jobs/{agreed.ref}/materials").content.decode()
    assert 'data-head="Used">9<' in page
    compared = owner_client.get(f"/api/v1/jobs/{agreed.ref}/material-comparison").json()
    rail = next(row for row in compared["rows"] if row["role"] == "rail")
    assert f'data-head="Cost used">{rail["used_cost"]}<' in page


def test_what_has_no_agreement_says_so(business: Business, owner_client: Client) -> None:
    stock_up(business)
    job, _ = new_job(business)
    page = owner_client.get(f"/jobs/{job.ref}/materials")
    assert page.status_code == 200
    assert "This job has no accepted quote yet." in page.content.decode()
    assert f"/jobs/{job.ref}/materials" not in owner_client.get(f"/jobs/{job.ref}").content.decode()


def test_what_came_back_is_put_in_once_and_named_where_the_crew_did_not(agreed: Job, owner_client: Client) -> None:
    at, component = f"/jobs/{agreed.ref}/materials", component_of(agreed.business, "rail")
    entry = brought(agreed)
    nothing = press(owner_client, at, {}, follow=True).content.decode()
    assert "Select the component of each item" in nothing
    data = {f"sku-{entry.ref}": component.sku, f"length-{entry.ref}": "1200"}
    for _ in range(2):
        press(owner_client, at, data)
    item = StockItem.objects.of(agreed.business).get()
    assert (item.component, item.quantity, item.length_mm, item.from_job) == (component, Decimal(2), 1200, agreed)
    assert "in stock" in owner_client.get(at).content.decode()


def test_a_wrong_component_and_a_wrong_length_are_named_and_nothing_is_put_in(
    agreed: Job, owner_client: Client
) -> None:
    first, second = brought(agreed), brought(agreed)
    sku = component_of(agreed.business, "rail").sku
    data = {f"sku-{first.ref}": "no-such", f"sku-{second.ref}": sku, f"length-{second.ref}": "long"}
    refused = press(owner_client, f"/jobs/{agreed.ref}/materials", data)
    assert refused.status_code == 422
    assert "There is no component no-such." in refused.content.decode()
    assert "Length long" in refused.content.decode()
    assert not StockItem.objects.of(agreed.business).exists()


def test_costs_are_for_those_who_see_prices(agreed: Job, cast: Cast, signed_in: SignIn) -> None:
    for person, status in ((cast.estimator, 200), (cast.bookkeeper, 403), (cast.crew, 403), (cast.stranger, 404)):
        assert signed_in(person).get(f"/jobs/{agreed.ref}/materials").status_code == status
    assert signed_in(cast.crew).post(f"/jobs/{agreed.ref}/materials").status_code == 403


def test_the_saw_sheet_is_offered_to_the_crew_and_where_bars_are_ordered(
    agreed: Job, cast: Cast, signed_in: SignIn, business: Business
) -> None:
    link = f"/api/v1/jobs/{agreed.ref}/saw-sheet.pdf"
    assert link in signed_in(cast.crew).get(f"/jobs/{agreed.ref}/build").content.decode()
    assert link in signed_in(cast.estimator).get(f"/jobs/{agreed.ref}/orders").content.decode()
    assert link not in signed_in(cast.bookkeeper).get(f"/jobs/{agreed.ref}/orders").content.decode()
    job, _ = new_job(business)
    assert "saw-sheet" not in signed_in(cast.estimator).get(f"/jobs/{job.ref}/orders").content.decode()


def test_a_customer_is_archived_by_page_and_found_no_more(agreed: Job, cast: Cast, signed_in: SignIn) -> None:
    estimator = signed_in(cast.estimator)
    at = f"/jobs/{agreed.ref}/customer/archive"
    assert signed_in(cast.crew).post(at).status_code == 403
    assert signed_in(cast.stranger).post(at).status_code == 404
    assert "new job" in estimator.get("/search?q=Quill").content.decode()
    page = press(estimator, f"/jobs/{agreed.ref}/details", {}, at=at, follow=True).content.decode()
    assert "was archived on" in page
    assert "new job" not in estimator.get("/search?q=Quill").content.decode()
    assert estimator.get(f"/jobs/{agreed.ref}").status_code == 200


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
