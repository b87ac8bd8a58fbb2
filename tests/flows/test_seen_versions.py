"""Nobody acts on what they did not see: each changing form and call names the version it was made for."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from html.parser import HTMLParser
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client

from catalogue.models import SupplierPrice
from quotes.purchasing.draft_orders import change_draft as change_order
from quotes.purchasing.models import SupplierOrder
from quotes.purchasing.order_responses import LineResponseData, OrderResponseData, record_response
from quotes.quoting.models import Question, Revision
from quotes.quoting.services import change_draft
from shared.models import Business
from tests.conftest import Cast
from tests.flows.test_price_pages import form_of
from tests.forms import hidden_in, press, seen_on
from tests.matrix.addresses import cases
from tests.quotes.purchasing.cast import drafted, line, now, placed, supplier_actor
from tests.quotes.purchasing.test_whole_units import received
from tests.quotes.quoting.cast import PARTIES, actor_of, measure, sent, stock_up
from tests.quotes.quoting.cast import drafted as drafted_quote

pytestmark = pytest.mark.django_db
D = Decimal


@pytest.fixture
def yard(business: Business) -> Business:
    stock_up(business)
    return business


def proposes(order: SupplierOrder, cast: Cast, number: str, price: str) -> None:
    """The supplier asks another price for the first line."""
    said = (LineResponseData(1, "change", "steel went up", price=D(price)),)
    record_response(order=order, told=OrderResponseData(number, "CA", lines=said), actor=supplier_actor(cast.supplier))


def test_a_price_nobody_saw_is_not_agreed(cast: Cast, yard: Business, owner_client: Client) -> None:
    order = placed(yard)
    page = f"/orders/{order.ref}"
    proposes(order, cast, "R1", "40.00")
    shown = seen_on(owner_client, page)
    proposes(order, cast, "R2", "400.00")
    agree = {"do": "decide", "line-1": "agree"}
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
    change_draft(revision=draft, actor=actor_of(yard), setup={**draft.setup, "extras": [extra]})
    typed = form_of(draft, **{"extras-0-label": "Grading", "extras-0-net": "70"}, do="send")
    refused = owner_client.post(page, {**shown, **typed})
    text = refused.content.decode()
    assert refused.status_code == 412
    assert "Total was" in text
    assert 'value="Grading"' in text
    draft.refresh_from_db()
    assert (draft.state, draft.setup["extras"]) == ("draft", [extra])


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
    body = {"lines": [{"line": 1, "agree": True}]}
    assert call(owner_client, f"orders/{order.ref}/decisions", body).status_code == 428
    refused = call(owner_client, f"orders/{order.ref}/decisions", body, **tag)
    assert (refused.status_code, refused.json()["code"]) == (412, "precondition-failed")
    fresh = {"If-Match": refused.headers["ETag"]}
    assert call(owner_client, f"orders/{order.ref}/decisions", body, **fresh).status_code == 200


# a POST on a thing that may come without If-Match, and why
UNCONDITIONAL = {
    "customers/<str:ref>/sites": "adds",
    "cutplans/<str:ref>/cancel": "ends a calculation",
    "deliveries/<str:ref>/receipts": "states what arrived, whatever was seen before",
    "jobs/<str:ref>/as-built": "states what was built",
    "jobs/<str:ref>/copy": "adds",
    "jobs/<str:ref>/events": "adds",
    "jobs/<str:ref>/leftovers": "puts each entry in stock once",
    "jobs/<str:ref>/measures": "adds",
    "jobs/<str:ref>/status": "a move from another state than it was seen in is refused",
    "links/<str:token>/accept": "names the digest of what was read",
    "links/<str:token>/decline": "declines whatever is offered",
    "links/<str:token>/questions": "adds",
    "measures/<str:ref>/draft/publish": "makes a version of the draft, which has its own check",
    "questions/<str:ref>/reply": "answers one question once",
    "quotes/<str:ref>/revisions": "adds a draft, which binds nobody",
    "revisions/<str:ref>/parties/<str:key>/link": "gives the party another link to the same",
    "stock/<str:ref>/holds": "takes a stated quantity, if it is there",
    "stock/<str:ref>/taking": "takes a stated quantity, if it is there",
    "suppliers/<str:ref>/keys": "adds",
    "supply/orders/<str:ref>/despatches": "states what was loaded",
    "supply/orders/<str:ref>/replies": "states what the supplier says",
}


def test_every_call_that_acts_on_a_thing_names_its_version_or_has_a_reason() -> None:
    posts = {case.address: case.endpoint for case in cases() if case.method == "POST" and "<" in case.address}
    free = {
        address for address, kind in posts.items() if "POST" not in kind.needs_if_match and "webhooks" not in address
    }
    assert free == UNCONDITIONAL.keys()


class Forms(HTMLParser):
    """The POST forms of a page: the names of their fields."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.found: list[set[str]] = []
        self._open = False
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        values = dict(attrs)
        if tag == "form":
            self._open = values.get("method") == "post"
            if self._open:
                self.found.append(set())
        elif self._open and values.get("name"):
            self.found[-1].add(str(values["name"]))

    def handle_endtag(self, tag: str) -> None:
        self._open = self._open and tag != "form"


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
        for fields in Forms(main).found:
            seen += 1
            if not {"version", "seen"} <= fields:
                without.append((page, sorted(fields)))
    assert without == []
    assert seen >= least
