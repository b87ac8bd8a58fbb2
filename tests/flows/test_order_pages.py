"""Pages of orders, stock and accounting: order, receive, return, add and remove stock, lock a period."""

from __future__ import annotations

import re
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from catalogue.models import Component
from quotes.accounting.models import PeriodLock
from quotes.jobs.models import Job
from quotes.purchasing.models import OrderLine, StockItem, SupplierOrder
from quotes.quoting.customer_responses import accept
from shared.models import Business
from tests.conftest import Cast
from tests.forms import press, seen_on
from tests.quotes.quoting.cast import PARTIES, measure, sent, stock_up, token

pytestmark = pytest.mark.django_db


@pytest.fixture
def job(business: Business) -> Job:
    """Create a job with an accepted quote."""
    stock_up(business)
    revision = sent(business, {"parties": PARTIES[:1]}, measure(7200))
    accept(token=token(revision, "owner"), name="Ada Quill", content_sha256=revision.content_sha256)
    return Job.objects.of(business).get()


@pytest.fixture
def owner(owner_client: Client) -> Client:
    return owner_client


def drafted(owner: Client, job: Job) -> SupplierOrder:
    owner.post(f"/jobs/{job.ref}/orders")
    found = SupplierOrder.objects.of(job.business).order_by("id").first()
    assert found is not None
    return found


def test_what_a_job_needs_is_drafted_once_unless_on_purpose(owner: Client, job: Job) -> None:
    drafted(owner, job)
    count = SupplierOrder.objects.of(job.business).count()
    again = owner.post(f"/jobs/{job.ref}/orders")
    assert again.status_code in (409, 422)
    assert SupplierOrder.objects.of(job.business).count() == count
    assert owner.post(f"/jobs/{job.ref}/orders", {"allow_reorder": "1"}).status_code == 302
    assert SupplierOrder.objects.of(job.business).count() == count  # nothing was missing


def test_an_order_is_placed_counted_in_and_closed(owner: Client, job: Job) -> None:
    order = drafted(owner, job)
    address = f"/orders/{order.ref}"
    press(owner, address, {"do": "place"})
    assert "Receive delivery" in owner.get(address).content.decode()
    lines = list(OrderLine.objects.of(job.business).filter(order=order).order_by("position"))
    counts = {f"arrived-{line.position}": str(line.quantity) for line in lines}
    data = {"do": "receive", "docket": "D-1", "received": str(timezone.localdate()), **counts}
    delivery = f"/deliveries/{order.ref}"
    version = seen_on(owner, delivery)
    press(owner, delivery, data)
    order.refresh_from_db()
    assert order.state == "received"
    same = owner.post(delivery, {**version, **data})
    assert same.status_code == 412
    press(owner, address, {"do": "close"})
    order.refresh_from_db()
    assert order.state == "closed"


def test_an_order_is_taken_away_in_every_form_its_page_names(owner: Client, job: Job) -> None:
    page = owner.get(f"/orders/{drafted(owner, job).ref}").content.decode()
    links = re.findall(r'href="(/api/v1/orders/[^"]+)"', page)
    assert [link.rsplit(".", 1)[1] for link in links] == ["pdf", "xlsx", "csv", "xml"]
    for link in links:
        assert owner.get(link).status_code == 200


def test_a_count_that_is_refused_loses_nothing_that_was_typed(owner: Client, job: Job) -> None:
    order = drafted(owner, job)
    press(owner, f"/orders/{order.ref}", {"do": "place"})
    data = {"do": "receive", "docket": "", "received": "2026-11-02", "arrived-1": "a few", "damaged-1": "7"}
    answer = press(owner, f"/deliveries/{order.ref}", data)
    page = answer.content.decode()
    assert (answer.status_code, "Not recorded" in page) == (422, True)
    assert re.search(r'name="arrived-1"[^>]* value="a few"', page)
    assert re.search(r'name="damaged-1"[^>]* value="7"', page)
    assert re.search(r'name="received"[^>]* value="2026-11-02"', page)


def test_all_that_is_outstanding_is_filled_in_and_counted_only_when_it_is_said(owner: Client, job: Job) -> None:
    order = drafted(owner, job)
    press(owner, f"/orders/{order.ref}", {"do": "place"})
    page = press(owner, f"/deliveries/{order.ref}", {"do": "fill", "docket": "D-9"}).content.decode()
    for line in OrderLine.objects.of(job.business).filter(order=order):
        assert line.received == 0
        assert re.search(rf'name="arrived-{line.position}"[^>]* value="{line.outstanding.normalize():f}"', page)
    assert 'value="D-9"' in page


def test_what_is_short_or_broken_stays_outstanding(owner: Client, job: Job) -> None:
    order = drafted(owner, job)
    press(owner, f"/orders/{order.ref}", {"do": "place"})
    line = OrderLine.objects.of(job.business).filter(order=order, quantity__gte=2).order_by("position").first()
    assert line is not None
    data = {f"arrived-{line.position}": "2", f"damaged-{line.position}": "1"}
    press(
        owner,
        f"/deliveries/{order.ref}",
        {"do": "receive", "docket": "D-1", "received": str(timezone.localdate()), **data},
    )
    before = line.quantity
    line.refresh_from_db()
    assert (line.received, line.damaged, line.outstanding) == (Decimal(1), Decimal(1), before - 1)


def test_cancelling_needs_a_reason(owner: Client, job: Job) -> None:
    order = drafted(owner, job)
    assert press(owner, f"/orders/{order.ref}", {"do": "cancel", "reason": " "}).status_code == 422
    press(owner, f"/orders/{order.ref}", {"do": "cancel", "reason": "Customer moved away"})
    order.refresh_from_db()
    assert order.state == "cancelled"


def test_stock_comes_in_and_goes_out_as_far_as_it_is_free(owner: Client, business: Business) -> None:
    stock_up(business)
    component = Component.objects.of(business).filter(role="rail").order_by("id").first()
    assert component is not None
    data = {"component": component.sku, "quantity": "4", "reason": "Returned from"}
    owner.post("/stock", data)
    item = StockItem.objects.of(business).get()
    press(owner, f"/stock/{item.ref}", {"quantity": "1", "reason": "Bent"})
    item.refresh_from_db()
    assert item.quantity == 3
    page = press(owner, f"/stock/{item.ref}", {"quantity": "9", "reason": "Bent"}, follow=True)
    assert "are available" in page.content.decode()
    wrong = owner.post("/stock", {**data, "component": "nothing-such"})
    assert (wrong.status_code, 'value="nothing-such"' in wrong.content.decode()) == (422, True)


def test_a_period_that_is_over_is_locked_and_today_is_not(cast: Cast, signed_in: Any, business: Business) -> None:
    bookkeeper = signed_in(cast.bookkeeper)
    today = timezone.localdate()
    assert bookkeeper.post("/accounting", {"locked_through": str(today)}).status_code == 409
    assert bookkeeper.post("/accounting", {"locked_through": "soon"}).status_code == 422
    bookkeeper.post("/accounting", {"locked_through": str(today - timedelta(days=2))})
    assert PeriodLock.objects.of(business).get().locked_through == today - timedelta(days=2)
    report = bookkeeper.get("/api/v1/accounting/ledger.csv", {"from": "2031-01-01", "to": "2031-01-31"})
    assert report.status_code == 200


def test_who_may_only_read_changes_nothing_and_strangers_find_nothing(
    cast: Cast, signed_in: Any, owner: Client, job: Job
) -> None:
    order = drafted(owner, job)
    bookkeeper = signed_in(cast.bookkeeper)
    assert bookkeeper.get(f"/orders/{order.ref}").status_code == 200
    assert bookkeeper.post(f"/orders/{order.ref}", {"do": "place"}).status_code == 403
    assert signed_in(cast.crew).get("/orders").status_code == 403
    assert signed_in(cast.stranger).get(f"/orders/{order.ref}").status_code == 404


def test_the_rest_of_a_line_is_cancelled_and_the_other_lines_stay(owner: Client, job: Job) -> None:
    order = drafted(owner, job)
    press(owner, f"/orders/{order.ref}", {"do": "place"})
    first, second = OrderLine.objects.of(job.business).filter(order=order).order_by("position")[:2]
    data = {"do": "shorten", "rest": str(first.position)}
    assert press(owner, f"/orders/{order.ref}", data).status_code == 422
    nothing = press(owner, f"/orders/{order.ref}", {"do": "shorten", "reason": "Found some"})
    assert "Select the lines" in nothing.content.decode()
    page = press(owner, f"/orders/{order.ref}", {**data, "reason": "Found some"}, follow=True).content.decode()
    first.refresh_from_db()
    before = second.outstanding
    second.refresh_from_db()
    assert (first.outstanding, first.cancelled) == (Decimal(0), first.quantity)
    assert second.outstanding == before
    assert f'id="rest-{first.position}"' not in page
    assert f'id="rest-{second.position}"' in page
