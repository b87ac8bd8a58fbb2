"""Access to the office pages, and drafts that never overwrite another person's entries."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from quotes.jobs.measure_services import start_measure
from quotes.jobs.models import Job, StoredMeasure
from quotes.purchasing.order_responses import LineResponseData, OrderResponseData, record_response
from quotes.quoting.customer_responses import accept, decline
from shared.business.models import Person
from shared.models import Business
from tests.conftest import Cast
from tests.forms import press
from tests.quotes.purchasing.cast import placed, supplier_actor
from tests.quotes.quoting.cast import PARTIES, actor_of, drafted, measure, new_job, sent, stock_up, token

SignIn = Callable[[Person], Client]
HTMX = {"HX-Request": "true"}


@pytest.fixture
def begun(business: Business) -> StoredMeasure:
    stock_up(business)
    job, _ = new_job(business, measure(9000))
    return start_measure(job=job, actor=actor_of(business))


def entries(begun: StoredMeasure, length: str, **more: str) -> dict[str, str]:
    document = {"label": "Back", "system": "corrugated-50", "defaults/height_mm": "1800", "runs/0/id": "A"}
    return {**document, "runs/0/length_mm": length, "version": str(begun.version), "page": "first", **more}


def _length(begun: StoredMeasure) -> Any:
    begun.refresh_from_db()
    return json.loads(begun.draft)["runs"][0]["length_mm"] if begun.draft else None


def test_strangers_are_led_to_the_sign_in(client: Client, begun: StoredMeasure) -> None:
    for address in ("/", "/jobs", "/search", "/jobs/new", f"/measures/{begun.ref}"):
        assert client.get(address)["Location"].startswith("/sign-in?next=")


def test_the_crew_sees_jobs_and_neither_measures_nor_opens_one(
    signed_in: SignIn, cast: Cast, begun: StoredMeasure
) -> None:
    client = signed_in(cast.crew)
    assert client.get("/jobs").status_code == 200
    assert client.get(f"/jobs/{begun.job.ref}").status_code == 200
    assert client.get(f"/measures/{begun.ref}").status_code == 403
    assert client.get("/jobs/new").status_code == 403


def test_another_business_finds_nothing_here(signed_in: SignIn, cast: Cast, begun: StoredMeasure) -> None:
    client = signed_in(cast.stranger)
    for address in (f"/jobs/{begun.job.ref}", f"/measures/{begun.ref}", f"/measures/{begun.ref}/take-off"):
        assert client.get(address).status_code == 404
    assert begun.job.number not in client.get("/search?q=Quill").content.decode()


def test_typing_is_kept_as_a_draft_with_its_faults(signed_in: SignIn, cast: Cast, begun: StoredMeasure) -> None:
    client = signed_in(cast.estimator)
    answer = client.post(f"/measures/{begun.ref}", entries(begun, "eighteen"), headers=HTMX)
    assert answer.status_code == 200
    assert _length(begun) == "eighteen"
    assert [fault["pointer"] for fault in begun.draft_errors] == ["/runs/0/length_mm"]


def test_a_change_elsewhere_is_not_written_over(signed_in: SignIn, cast: Cast, begun: StoredMeasure) -> None:
    before = entries(begun, "7")
    signed_in(cast.owner).post(f"/measures/{begun.ref}", before, headers=HTMX)
    client = signed_in(cast.estimator)
    answer = client.post(f"/measures/{begun.ref}", {**before, "runs/0/length_mm": "9", "page": "second"}, headers=HTMX)
    assert answer.status_code == 409
    assert _length(begun) == 7000
    over = {**before, "runs/0/length_mm": "9", "page": "second", "do": "keep-mine", "over": str(begun.version)}
    assert client.post(f"/measures/{begun.ref}", over, headers=HTMX).status_code == 200
    assert _length(begun) == 9000


def test_an_answer_that_got_lost_is_no_conflict(signed_in: SignIn, cast: Cast, begun: StoredMeasure) -> None:
    client, first = signed_in(cast.estimator), entries(begun, "7")
    client.post(f"/measures/{begun.ref}", first, headers=HTMX)  # written, but the page never heard of it
    answer = client.post(f"/measures/{begun.ref}", {**first, "runs/0/length_mm": "8"}, headers=HTMX)
    assert answer.status_code == 200
    assert _length(begun) == 8000


def test_the_same_typing_again_writes_nothing(signed_in: SignIn, cast: Cast, begun: StoredMeasure) -> None:
    client, first = signed_in(cast.estimator), entries(begun, "7")
    client.post(f"/measures/{begun.ref}", first, headers=HTMX)
    begun.refresh_from_db()
    version = begun.version
    client.post(f"/measures/{begun.ref}", first, headers=HTMX)
    begun.refresh_from_db()
    assert begun.version == version


def test_the_take_off_says_what_another_height_moves(signed_in: SignIn, cast: Cast, begun: StoredMeasure) -> None:
    client = signed_in(cast.estimator)
    client.post(f"/measures/{begun.ref}", entries(begun, "9", do="keep"))
    page = client.get(f"/measures/{begun.ref}/take-off?lattice_mm=340").content.decode()
    assert "Lattice panels" in page
    # which rail of which bay each bar is cut into, as on the saw sheet
    assert re.search(r"<li>1: A-\d (bottom|top)", page)
    refused = client.get(f"/measures/{begun.ref}/take-off?height_mm=tall").content.decode()
    assert "Cannot be built" in refused


def test_today_tells_each_what_they_may_see(signed_in: SignIn, cast: Cast, business: Business) -> None:
    stock_up(business)
    quote = sent(business).quote.number
    assert quote in signed_in(cast.estimator).get("/").content.decode()
    assert quote not in signed_in(cast.crew).get("/").content.decode()


def test_a_measured_job_waits_for_its_price_until_it_has_a_quote(
    signed_in: SignIn, cast: Cast, business: Business
) -> None:
    stock_up(business)
    new_job(business)
    assert "Ready to quote" in signed_in(cast.owner).get("/").content.decode()


def test_a_job_with_a_draft_quote_is_being_priced(signed_in: SignIn, cast: Cast, business: Business) -> None:
    stock_up(business)
    drafted(business)
    assert "Ready to quote" not in signed_in(cast.owner).get("/").content.decode()


def test_a_known_customer_and_site_are_taken_up_again(signed_in: SignIn, cast: Cast, business: Business) -> None:
    stock_up(business)
    client, data = signed_in(cast.estimator), {"name": "Ada Quill", "address": "4 Reed Lane"}
    client.post("/jobs/new", data)
    client.post("/jobs/new", {**data, "name": "ada quill"})
    first, second = Job.objects.of(business).order_by("id")
    assert (first.customer, first.site) == (second.customer, second.site)


def test_an_order_a_supplier_would_change_and_a_late_delivery_wait_for_somebody(
    signed_in: SignIn, cast: Cast, business: Business
) -> None:
    stock_up(business)
    order = placed(business, account=cast.supplier)
    data = OrderResponseData("R1", "CA", lines=(LineResponseData(1, "change", price=Decimal("99.00")),))
    record_response(order=order, response=data, actor=supplier_actor(cast.supplier))
    page = signed_in(cast.owner).get("/").content.decode()
    assert "Supplier changes to approve" in page
    assert f'href="/orders/{order.ref}"' in page
    type(order).objects.of(business).update(promised_on=timezone.localdate() - timedelta(days=1))
    assert "Deliveries due" in signed_in(cast.owner).get("/").content.decode()
    assert f"/orders/{order.ref}" not in signed_in(cast.crew).get("/").content.decode()


def test_a_wrong_address_is_mended_and_a_job_is_copied_with_its_measures(
    signed_in: SignIn, cast: Cast, begun: StoredMeasure
) -> None:
    client, job = signed_in(cast.estimator), begun.job
    data = {"label": "Front fence", "name": "Ada Quill", "email": "nonsense", "address": "4 Reed Lane"}
    assert press(client, f"/jobs/{job.ref}/details", data).status_code == 422
    data |= {"email": "quill@example.test", "access_notes": "A dog", "preferred_on": "2027-03-01"}
    assert press(client, f"/jobs/{job.ref}/details", data).status_code == 302
    changed = Job.objects.of(cast.business).select_related("customer", "site").get(ref=job.ref)
    assert (changed.label, changed.customer.email, changed.site.access_notes) == (
        "Front fence",
        "quill@example.test",
        "A dog",
    )
    there = client.post(f"/jobs/{job.ref}/copy")["Location"]
    copy = Job.objects.of(cast.business).get(copied_from=changed)
    assert there == f"/jobs/{copy.ref}"
    assert copy.measures.get().latest_version == 1  # the one that was kept, not the one half typed
    assert signed_in(cast.crew).post(f"/jobs/{job.ref}/details", data).status_code == 403
    assert signed_in(cast.stranger).post(f"/jobs/{job.ref}/copy").status_code == 404


def test_equal_notices_are_merged_on_the_take_off_with_all_their_bays(
    signed_in: SignIn, cast: Cast, business: Business
) -> None:
    stock_up(business)
    _, version = new_job(business, measure(12000, form="raked", levels=[[0, 0], [12000, 2400]]))
    page = signed_in(cast.estimator).get(f"/measures/{version.measure.ref}/take-off").content.decode()
    assert "A-1 to A-6 (marked 1 to 6): raked at" in page
    assert page.count('<li class="notice stop">') == 1


def test_only_declined_quotes_are_under_declined_and_the_list_of_quotes_is_filtered(
    business: Business, owner_client: Client
) -> None:
    stock_up(business)
    accepted, declined = (sent(business, {"parties": PARTIES[:1]}, measure(7200)) for _ in range(2))
    accept(token=token(accepted, "owner"), name="Ada Quill", content_sha256=accepted.content_sha256)
    decline(token=token(declined, "owner"), name="Ada Quill", reason="")
    today = owner_client.get("/").content.decode()
    group = today.split("Declined quotes", 1)[1].split("</ul>", 1)[0]
    assert (declined.quote.number in group, accepted.quote.number in group) == (True, False)
    listed = owner_client.get("/quotes?status=accepted").content.decode()
    assert (f"/revisions/{accepted.ref}" in listed, f"/revisions/{declined.ref}" in listed) == (True, False)
