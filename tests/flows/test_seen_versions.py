"""Nobody acts on what they did not see: each changing form and call names the version it was made for."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client

from catalogue.models import Finish, SupplierPrice
from quotes.jobs.services import change_customer
from quotes.purchasing.draft_orders import change_draft as change_order
from quotes.purchasing.models import SupplierOrder
from quotes.purchasing.order_responses import LineResponseData, OrderResponseData, record_response
from quotes.purchasing.stock_services import add_stock, reserve_item
from quotes.quoting.models import Question, Revision
from quotes.quoting.services import change_draft
from shared.business.models import Member
from shared.business.roles import MemberRole
from shared.members.services import change_business, change_role
from shared.models import Business
from tests.conftest import Cast
from tests.flows.test_price_pages import form_of
from tests.flows.test_settings_pages import face
from tests.forms import Forms, hidden_in, press, seen_on
from tests.quotes.purchasing.cast import component_of, drafted, line, now, placed, supplier_actor
from tests.quotes.purchasing.test_order_quantities import received
from tests.quotes.quoting.cast import PARTIES, actor_of, entered, measure, new_job, sent, stock_up
from tests.quotes.quoting.cast import drafted as drafted_quote

pytestmark = pytest.mark.django_db
D = Decimal


@pytest.fixture
def yard(business: Business) -> Business:
    stock_up(business)
    return business


def proposes(order: SupplierOrder, cast: Cast, number: str, price: str) -> None:
    """Propose another price for the first line, as the supplier."""
    change = (LineResponseData(1, "change", "steel went up", price=D(price)),)
    record_response(
        order=order, response=OrderResponseData(number, "CA", lines=change), actor=supplier_actor(cast.supplier)
    )


def test_a_price_nobody_saw_is_not_agreed(cast: Cast, yard: Business, owner_client: Client) -> None:
    order = placed(yard)
    page = f"/orders/{order.ref}"
    proposes(order, cast, "R1", "40.00")
    shown = seen_on(owner_client, page)
    proposes(order, cast, "R2", "400.00")
    agree = {"do": "decide", "line-1": "accept"}
    refused = owner_client.post(page, {**shown, **agree})
    text = refused.content.decode()
    assert refused.status_code == 412
    assert "This has changed since you opened the page" in text
    assert "proposed was 40.00 and is now 400.00" in text
    assert line(order, 1).price == D("2.50")
    assert owner_client.post(page, {**hidden_in(text), **agree}).status_code == 302  # the refusal shows the new version
    assert line(order, 1).price == D("400.00")


def test_a_form_without_a_version_is_refused(yard: Business, owner_client: Client) -> None:
    order = drafted(yard)
    answer = owner_client.post(f"/orders/{order.ref}", {"do": "place", "allow_below_minimum": "1"})
    assert (answer.status_code, now(order).state) == (428, "draft")


def test_an_order_that_a_colleague_changed_is_not_placed(yard: Business, owner_client: Client) -> None:
    order = drafted(yard, {"rail": "4"})
    page = f"/orders/{order.ref}"
    shown = seen_on(owner_client, page)
    lines = [{"component": line(order, 1).sku, "quantity": D(400), "price": D("2.50")}]
    change_order(order=order, actor=actor_of(yard), lines=lines)
    refused = owner_client.post(page, {**shown, "do": "place", "allow_below_minimum": "1"})
    assert refused.status_code == 412
    assert "was 4 ordered, 4 outstanding at 2.50 and is now 400 ordered" in refused.content.decode()
    assert now(order).state == "draft"


def test_a_revision_that_a_colleague_changed_is_not_sent_and_nothing_typed_is_lost(
    yard: Business, owner_client: Client
) -> None:
    draft = drafted_quote(yard, {"parties": PARTIES[:1]}, measure(12000))
    page = f"/revisions/{draft.ref}"
    shown = seen_on(owner_client, page)
    extra = {"label": "Clearing", "net": "900.00"}
    change_draft(revision=draft, actor=actor_of(yard), setup=entered({**draft.setup, "extra_items": [extra]}))
    typed = form_of(draft, **{"extra_items-0-label": "Grading", "extra_items-0-net": "70"}, do="send")
    refused = owner_client.post(page, {**shown, **typed})
    text = refused.content.decode()
    assert refused.status_code == 412
    assert "Total was" in text
    assert 'value="Grading"' in text
    draft.refresh_from_db()
    assert (draft.state, draft.setup["extra_items"]) == ("draft", [extra])


def test_a_total_that_rose_with_the_price_list_is_not_sent_unseen(yard: Business, owner_client: Client) -> None:
    draft = drafted_quote(yard, {"parties": PARTIES[:1]}, measure(12000))
    page = f"/revisions/{draft.ref}"
    shown = seen_on(owner_client, page)
    for price in SupplierPrice.objects.of(yard):
        price.price *= 2
        price.save()
    refused = owner_client.post(page, {**shown, **form_of(draft, do="send")})
    assert (refused.status_code, "Total was" in refused.content.decode()) == (412, True)
    assert press(owner_client, page, form_of(draft, do="send")).status_code == 302


def test_the_next_revision_is_not_drafted_from_a_page_on_which_it_was_not_accepted_yet(
    yard: Business, owner_client: Client
) -> None:
    revision = sent(yard, {"parties": PARTIES[:1]}, measure(12000))
    shown = seen_on(owner_client, f"/revisions/{revision.ref}")
    Revision.objects.of(yard).filter(pk=revision.pk).update(state="declined")
    owner_client.post(f"/quotes/{revision.quote.ref}/revise", shown)
    assert Revision.objects.of(yard).count() == 1


def call(client: Client, address: str, body: Any, **headers: str) -> Any:
    headers = {"Idempotency-Key": str(uuid4()), **headers}
    return client.post(f"/api/v1/{address}", body, "application/json", headers=headers)


def test_the_api_acts_on_the_version_that_was_read_or_not_at_all(
    cast: Cast, yard: Business, owner_client: Client
) -> None:
    order = placed(yard)
    proposes(order, cast, "R1", "40.00")
    tag = {"If-Match": owner_client.get(f"/api/v1/orders/{order.ref}").headers["ETag"]}
    proposes(order, cast, "R2", "400.00")
    body = {"lines": [{"line": 1, "accept": True}]}
    assert call(owner_client, f"orders/{order.ref}/decide-changes", body).status_code == 428
    refused = call(owner_client, f"orders/{order.ref}/decide-changes", body, **tag)
    assert (refused.status_code, refused.json()["code"]) == (412, "precondition-failed")
    fresh = {"If-Match": refused.headers["ETag"]}
    assert call(owner_client, f"orders/{order.ref}/decide-changes", body, **fresh).status_code == 200


def _orders(yard: Business, cast: Cast) -> list[str]:
    proposed, here = placed(yard), placed(yard, {"rail": "10"})
    proposes(proposed, cast, "R1", "40.00")
    received(here)
    pages = [f"/orders/{order.ref}" for order in (drafted(yard), proposed, here)]
    return [*pages, f"/deliveries/{proposed.ref}"]


def _revisions(yard: Business, cast: Cast) -> list[str]:
    draft = drafted_quote(yard, {"parties": PARTIES[:1]}, measure(12000))
    asked = sent(yard, {"parties": PARTIES[:1]}, measure(7200))
    Question.objects.of(yard).create(party=asked.parties.get(), revision=asked, text="When?")
    return [f"/revisions/{draft.ref}", f"/revisions/{asked.ref}"]


@pytest.mark.parametrize(("pages_of", "least"), [(_orders, 8), (_revisions, 5)])
def test_every_changing_form_of_orders_and_quotes_carries_its_version(
    yard: Business, cast: Cast, owner_client: Client, pages_of: Callable[[Business, Cast], list[str]], least: int
) -> None:
    seen, without = 0, []
    for page in pages_of(yard, cast):
        text = owner_client.get(page).content.decode()
        main = text[text.index("<main") : text.index("</main>")]
        for fields in Forms(main).names:
            seen += 1
            if not {"version", "seen"} <= fields:
                without.append((page, sorted(fields)))
    assert without == []
    assert seen >= least


def test_settings_that_a_colleague_changed_are_not_overwritten(business: Business, owner_client: Client) -> None:
    shown = seen_on(owner_client, "/settings")
    change_business(business=business, changes={"phone": "555 0101", "terms": "x" * 300}, actor=actor_of(business))
    typed = {**face(business), "phone": "555 0102", "website": "https://tern.example"}
    refused = owner_client.post("/settings", {**shown, **typed})
    text = refused.content.decode()
    assert refused.status_code == 412
    assert "Telephone was empty and is now 555 0101" in text
    assert 'value="https://tern.example"' in text
    business.refresh_from_db()
    assert (business.phone, business.website) == ("555 0101", "")
    assert owner_client.post("/settings", {**hidden_in(text), **typed}).status_code == 302


def test_a_price_record_that_a_colleague_changed_is_neither_overwritten_nor_deleted(
    yard: Business, owner_client: Client
) -> None:
    finish = Finish.objects.of(yard).order_by("id")[0]
    page = f"/prices/finishes/{finish.ref}"
    shown = seen_on(owner_client, page)
    Finish.objects.of(yard).filter(pk=finish.pk).update(name="Pale saltmarl")
    for typed in ({"do": "remove"}, {"code": finish.code, "name": "Dark saltmarl"}):
        refused = owner_client.post(page, {**shown, **typed})
        assert refused.status_code == 412
        assert f"Name was {finish.name} and is now Pale saltmarl" in refused.content.decode()
    assert 'value="Dark saltmarl"' in refused.content.decode()
    finish.refresh_from_db()
    assert finish.name == "Pale saltmarl"


def test_a_customer_that_changed_with_another_job_is_not_overwritten(yard: Business, owner_client: Client) -> None:
    job, _ = new_job(yard)
    page = f"/jobs/{job.ref}/details"
    shown = seen_on(owner_client, page)
    change_customer(customer=job.customer, actor=actor_of(yard), phone="555 0103")
    typed = {"label": "Side fence", "name": "Ada Quill", "address": "4 Reed Lane"}
    refused = owner_client.post(page, {**shown, **typed})
    text = refused.content.decode()
    assert refused.status_code == 412
    assert "Phone was empty and is now 555 0103" in text
    assert 'value="Side fence"' in text
    job.refresh_from_db()
    assert job.label != "Side fence"


def test_stock_that_was_reserved_meanwhile_is_not_removed_unseen(yard: Business, owner_client: Client) -> None:
    item = add_stock(component=component_of(yard, "rail"), quantity=D(8), actor=actor_of(yard), reason="counted")
    page, take = f"/stock/{item.ref}", {"do": "take", "quantity": "5", "reason": "Sold"}
    shown = seen_on(owner_client, page)
    reserve_item(item=item, job=new_job(yard)[0], quantity=D(2), actor=actor_of(yard))
    refused = owner_client.post(page, {**shown, **take})
    text = refused.content.decode()
    assert refused.status_code == 412
    assert "Reserved for jobs was 0 and is now 2" in text
    assert 'value="Sold"' in text
    assert owner_client.post(page, {**hidden_in(text, page), **take}).status_code == 302


def test_a_member_whose_role_changed_is_not_removed_unseen(cast: Cast, owner_client: Client) -> None:
    member = Member.objects.get(business=cast.business, person=cast.crew)
    at = f"/settings/members/{member.ref}"
    shown = seen_on(owner_client, "/settings/members", at)
    change_role(member=member, role=MemberRole.ESTIMATOR, actor=actor_of(cast.business))
    page = owner_client.post(at, {**shown, "do": "remove"}, follow=True).content.decode()
    assert "Role was crew and is now estimator" in page
    assert Member.objects.filter(pk=member.pk).exists()
