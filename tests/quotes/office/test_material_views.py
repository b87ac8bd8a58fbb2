"""A job's materials afterwards: the comparison, what came back, and the papers and details beside it."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal

import pytest
from django.test import Client

from quotes.jobs.as_built import record_built
from quotes.jobs.models import AsBuilt, Job
from quotes.purchasing.models import StockItem
from shared.business.models import Person
from shared.models import Business
from tests.conftest import Cast
from tests.forms import press
from tests.quotes.purchasing.cast import agreed_job, component_of
from tests.quotes.quoting.cast import actor_of, new_job, stock_up

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
