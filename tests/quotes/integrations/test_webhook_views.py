"""Webhooks and suppliers' keys by page and API document: everything the API does, for members with the scope only."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from django.test import Client
from jsonschema import Draft202012Validator

from catalogue.models import Supplier
from quotes import purchasing
from quotes.integrations.models import WebhookDelivery, WebhookEndpoint
from quotes.integrations.webhook_openapi import describe_webhooks
from quotes.integrations.webhooks import EVENT_TYPES
from quotes.jobs.models import Job
from quotes.purchasing import services
from quotes.purchasing.draft_orders import order_for
from quotes.quoting.customer_responses import accept
from shared.api.docs_views import document
from shared.business.models import ApiKey, Person
from shared.models import Business
from tests.conftest import Cast
from tests.forms import press
from tests.quotes.integrations.receiver import Receiver, receiving
from tests.quotes.integrations.test_webhooks import settle
from tests.quotes.quoting.cast import PARTIES, actor_of, measure, sent, stock_up, token

SignIn = Callable[[Person], Client]


@pytest.fixture
def receiver(settings: Any) -> Iterator[Receiver]:
    settings.WEBHOOKS_TO_LOOPBACK = True
    with receiving() as one:
        yield one


@pytest.fixture
def owner(signed_in: SignIn, cast: Cast) -> Client:
    return signed_in(cast.owner)


def _shown(page: str, label: str) -> str:
    found = re.search(rf'value="([^"]+)" aria-label="{label}"', page)
    assert found is not None
    return found[1]


def _added(owner: Client, receiver: Receiver) -> WebhookEndpoint:
    page = owner.post("/settings/webhooks", {"url": receiver.url, "kind": ["order.placed"]}).content.decode()
    row = WebhookEndpoint.objects.get()
    assert _shown(page, "The secret") == row.secrets[0]["key"]
    assert row.secrets[0]["key"] not in owner.get(f"/settings/webhooks/{row.ref}").content.decode()
    return row


def _place_something(business: Business) -> None:
    stock_up(business)
    revision = sent(business, {"parties": PARTIES[:1]}, measure(7200))
    accept(token=token(revision, "owner"), name="Ada Quill", content_sha256=revision.content_sha256)
    order = order_for(jobs=[Job.objects.of(business).get()], actor=actor_of(business))[0]
    services.place(order=order, actor=actor_of(business))


@pytest.mark.django_db
def test_an_endpoint_is_added_tried_paused_and_removed(owner: Client, receiver: Receiver, business: Business) -> None:
    row = _added(owner, receiver)
    address = f"/settings/webhooks/{row.ref}"
    settle()
    row.refresh_from_db()
    assert row.state == "active"
    press(owner, address, {"do": "test"})
    _place_something(business)
    settle()
    page = owner.get(address).content.decode()
    assert "a test" in page
    assert "order.placed" in page
    assert "order.changed" not in page.split("Delivery log")[1]
    first = WebhookDelivery.objects.exclude(event=None).order_by("id")[0]
    press(owner, address, {"do": "again", "delivery": first.ref})
    assert WebhookDelivery.objects.filter(event=first.event).count() == 2
    secret = _shown(press(owner, address, {"do": "rotate"}).content.decode(), "The new secret")
    row.refresh_from_db()
    assert row.secrets[0]["key"] == secret
    press(owner, address, {"do": "pause"})
    row.refresh_from_db()
    assert row.state == "disabled"
    press(owner, address, {"do": "resume"})
    row.refresh_from_db()
    assert row.state == "pending"
    press(owner, address, {"do": "kinds", "kind": ["order.closed"]})
    row.refresh_from_db()
    assert row.event_types == ["order.closed"]
    assert press(owner, address, {"do": "remove"})["Location"] == "/settings/webhooks"
    assert not WebhookEndpoint.objects.exists()


@pytest.mark.django_db
def test_what_failed_is_sent_again_in_one_go(owner: Client, receiver: Receiver, business: Business) -> None:
    row = _added(owner, receiver)
    settle()
    _place_something(business)
    settle()
    WebhookDelivery.objects.exclude(event=None).update(state="failed")
    failed = WebhookDelivery.objects.filter(state="failed").count()
    press(owner, f"/settings/webhooks/{row.ref}", {"do": "again"})
    assert WebhookDelivery.objects.filter(state="waiting").count() == failed > 0


@pytest.mark.django_db
@pytest.mark.parametrize("body", [{"url": "ftp://nowhere"}, {"url": "https://127.0.0.1/"}, {"url": "", "kind": "moon"}])
def test_what_can_not_be_called_is_refused_beside_its_field(owner: Client, body: dict[str, str]) -> None:
    answer = owner.post("/settings/webhooks", body)
    assert answer.status_code == 422
    assert 'class="fault"' in answer.content.decode()
    assert not WebhookEndpoint.objects.exists()


@pytest.mark.django_db
def test_nobody_else_finds_an_endpoint(owner: Client, receiver: Receiver, signed_in: SignIn, cast: Cast) -> None:
    address = f"/settings/webhooks/{_added(owner, receiver).ref}"
    assert signed_in(cast.stranger).get(address).status_code == 404
    assert signed_in(cast.crew).get(address).status_code == 403
    assert signed_in(cast.estimator).post(address, {"do": "remove"}).status_code == 403


@pytest.mark.django_db
def test_a_supplier_gets_a_key_that_can_be_ended(owner: Client, business: Business) -> None:
    stock_up(business)
    supplier = Supplier.objects.of(business).order_by("id")[0]
    page = owner.post(
        "/settings/supplier-keys", {"supplier": supplier.ref, "name": "Yard", "test": "1"}
    ).content.decode()
    key = ApiKey.objects.get()
    assert _shown(page, "The new key").startswith(key.prefix)
    owner.post("/settings/supplier-keys", {"end": key.ref})
    key.refresh_from_db()
    assert key.revoked_at is not None
    assert owner.post("/settings/supplier-keys", {"supplier": "x", "name": ""}).status_code == 422


@pytest.mark.django_db
def test_a_supplier_of_another_business_gets_no_key(
    signed_in: SignIn, cast: Cast, owner: Client, business: Business
) -> None:
    stock_up(business)
    supplier = Supplier.objects.of(business).order_by("id")[0]
    owner.post("/settings/supplier-keys", {"supplier": supplier.ref, "name": "Yard"})
    stranger = signed_in(cast.stranger)
    assert stranger.post("/settings/supplier-keys", {"supplier": supplier.ref, "name": "x"}).status_code == 422
    assert stranger.post("/settings/supplier-keys", {"end": ApiKey.objects.get().ref}).status_code == 404
    assert ApiKey.objects.get().revoked_at is None


@pytest.mark.django_db
def test_keys_of_a_supplier_that_serves_others_are_none_of_ours(
    owner: Client, business: Business, cast: Cast, signed_in: SignIn
) -> None:
    stock_up(business)
    stock_up(cast.strangers_business)
    theirs, ours = (Supplier.objects.of(item).order_by("id")[0] for item in (cast.strangers_business, business))
    signed_in(cast.stranger).post("/settings/supplier-keys", {"supplier": theirs.ref, "name": "Their key"})
    theirs.refresh_from_db()
    ours.account = theirs.account
    ours.save()
    assert "Their key" not in owner.get("/settings/supplier-keys").content.decode()
    assert owner.post("/settings/supplier-keys", {"end": ApiKey.objects.get().ref}).status_code == 404
    assert owner.post("/settings/supplier-keys", {"supplier": ours.ref, "name": "x"}).status_code == 409


HEADERS = ["webhook-id", "webhook-timestamp", "webhook-signature"]  # Standard Webhooks 1.0.0


def test_the_document_has_every_type_of_event_the_challenge_and_the_test() -> None:
    assert set(document()["webhooks"]) == {*EVENT_TYPES, "endpoint.challenge", "endpoint.test"}


def test_every_type_of_event_that_is_noted_is_documented() -> None:
    """Read from the source: the kinds that ``note`` is called with."""
    folder = Path(purchasing.__file__).parent
    noted = {
        found
        for path in folder.glob("*.py")
        for found in re.findall(r"""\bnote\(\s*\w+,\s*"(order\.\w+)\"""", path.read_text(encoding="utf-8"))
    }
    assert "order.drafted" in noted
    assert noted <= set(EVENT_TYPES)


def test_every_webhook_has_its_headers_and_an_example_that_its_schema_allows() -> None:
    for kind, methods in describe_webhooks({})["webhooks"].items():
        media = methods["post"]["requestBody"]["content"]["application/json"]
        Draft202012Validator(media["schema"]).validate(media["example"])
        assert media["example"]["type"] == kind
        assert [parameter["name"] for parameter in methods["post"]["parameters"]] == HEADERS
