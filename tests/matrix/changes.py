"""A call of every address of the API that changes something of a business, with what has to be there first."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

from django.test import Client
from django.utils import timezone

from catalogue.models import Component, FenceSystemVersion, Finish, Supplier
from catalogue.rules.codes import ImportKind
from catalogue.spreadsheets.export import csv_sheet
from quotes.jobs.as_built import record_built
from quotes.jobs.models import Job, StoredMeasure
from quotes.purchasing.models import OrderEvent, SupplierOrder
from quotes.purchasing.order_responses import LineResponseData, OrderResponseData, record_response
from quotes.quoting.models import Revision
from quotes.quoting.services import revise
from shared.business.actors import SYSTEM
from shared.business.models import Business
from tests.matrix.world import World
from tests.quotes.purchasing import cast as orders
from tests.quotes.quoting.cast import actor_of, drafted, measure, new_job, sent, token

Body = Mapping[str, Any] | str | None
NEW = {"email": "nora@example.test", "role": "crew", "name": "Nora"}
LATER = (timezone.now() + timedelta(days=30)).date().isoformat()


@dataclass(slots=True)
class Scene:
    """A business with one thing of every kind, the refs that the next call names, and the client that makes it."""

    business: Business
    world: World
    refs: dict[str, str]
    inner: dict[str, str]
    client: Client

    def sku(self) -> str:
        """Return the SKU of a component that is sold."""
        return orders.component_of(self.business, "rail").sku

    def job(self) -> Job:
        """Return a job with an accepted quote."""
        return Job.objects.of(self.business).select_related("business").get(ref=self.refs["job"])

    def order(self, **made: Any) -> SupplierOrder:
        """Create a draft order in place of the scene's order."""
        order = orders.drafted(self.business, **made)
        self.refs["order"] = order.ref
        return order

    def draft(self) -> Revision:
        """Create a draft quote in place of the scene's revision."""
        revision = drafted(self.business)
        self.refs["revision"], self.refs["quote"] = revision.ref, revision.quote.ref
        return revision


def spare(s: Scene, kind: str) -> None:
    """Create a record that nothing refers to, so that it can be deleted."""
    if kind == "finish":
        row: Any = Finish.objects.of(s.business).create(code="inkstone", name="Inkstone")
    elif kind == "supplier":
        row = Supplier.objects.of(s.business).create(code="spare", name="Spare")
    else:
        row = Component.objects.of(s.business).create(sku="spare", name="Spare", role="cap.square")
    s.refs[kind] = row.ref


def _later(s: Scene, client: Client, kind: str, address: str, values: Mapping[str, Any], change: Body = None) -> Body:
    """Store a price that has not begun, so that it can be changed and deleted; returns the change to send."""
    answer = client.post(f"/api/v1/{address}", {"valid_from": LATER, **values}, "application/json")
    assert answer.status_code == 201, answer.content
    s.refs[kind] = answer.json()["ref"]
    return change


def _offer(s: Scene) -> dict[str, Any]:
    component = orders.component_of(s.business, "rail")
    return {"component": component.sku, "supplier": orders.seller_of(s.business, component).code, "price": "1.25"}


def _terms(s: Scene) -> dict[str, Any]:
    return {"supplier": Supplier.objects.of(s.business).order_by("id")[0].code, "lead_time_days": 4}


HIRE = {"kind": "hire", "applies_to": "auger", "value": "90"}


def system_document(s: Scene) -> dict[str, Any]:
    version = FenceSystemVersion.objects.of(s.business).order_by("-id").first()
    assert version is not None
    document: dict[str, Any] = json.loads(version.document) if isinstance(version.document, str) else version.document
    return document


def _received(s: Scene, pieces: tuple[str, str] = ("1", "1")) -> dict[str, Any]:
    return {
        "docket_number": "D9",
        "received_on": timezone.localdate().isoformat(),
        "lines": [{"line": place, "arrived_quantity": quantity} for place, quantity in enumerate(pieces, 1)],
    }


def put_an_order(s: Scene) -> SupplierOrder:
    order = orders.placed(s.business)
    s.refs["order"] = order.ref
    return order


def _count(s: Scene, client: Client, pieces: tuple[str, str] = ("1", "1")) -> None:
    answer = client.post(
        f"/api/v1/deliveries/{s.refs['order']}/receipts",
        _received(s, pieces),
        "application/json",
        headers={"Idempotency-Key": str(uuid4()), "If-Match": "*"},
    )
    assert answer.status_code < 300, answer.content


def _all_received(s: Scene, client: Client) -> Body:
    order = put_an_order(s)
    first, second = (str(orders.line(order, place).quantity) for place in (1, 2))
    _count(s, client, (first, second))
    return {}


def finishes_file(s: Scene) -> str:
    """Return the finishes as a CSV file, one of them under another name."""
    rows = "".join(csv_sheet(ImportKind.FINISHES, s.business))
    content = rows.replace("Saltmarl", "Pale saltmarl")
    assert content != rows
    return content


def second_system(s: Scene) -> str:
    """Store another fence system, as the first one has to stay. Return its ref."""
    answer = s.client.post("/api/v1/fence-systems", {**system_document(s), "code": "another-50"}, "application/json")
    assert answer.status_code == 201, answer.content
    s.refs["fence system"] = answer.json()["ref"]
    return s.refs["fence system"]


def _proposed(s: Scene) -> None:
    order = orders.placed(s.business)
    s.refs["order"] = order.ref
    change = LineResponseData(1, "change", price=Decimal(3))
    record_response(order=order, response=OrderResponseData("R9", "CA", lines=(change,)), actor=actor_of(s.business))


def _accepted(s: Scene) -> dict[str, Any]:
    revision = sent(s.business)
    s.inner["token"] = token(revision, "owner")
    return {"name": "Ada Quill", "content_sha256": revision.content_sha256}


def linked(s: Scene) -> str:
    revision = sent(s.business)
    s.inner["token"], s.refs["revision"] = token(revision, "owner"), revision.ref
    return revision.ref


def _open(s: Scene) -> None:
    s.refs["job"] = drafted(s.business).quote.job.ref


def brought_back(s: Scene) -> str:
    details: dict[str, Any] = {"role": "rail", "component": s.sku(), "length_mm": 2000, "quantity": Decimal(1)}
    record_built(job=s.job(), kind="returned", actor=SYSTEM, **details)
    return s.refs["job"]


def _returned(s: Scene, client: Client) -> dict[str, Any]:
    put_an_order(s)
    _count(s, client)
    return {"line": 1, "quantity": "1", "replacement_required": False, "reason": "bent"}


Step = Callable[[Scene, Client], Body]


def just(body: Body = None, *, after: Callable[[Scene], Any] | None = None) -> Step:
    """Return a step with this body; ``after`` prepares the scene first."""

    def step(s: Scene, client: Client) -> Body:
        if after:
            after(s)
        return body

    return step


def made(step: Callable[[Scene], Body]) -> Step:
    """Return a step whose body depends on the scene."""
    return lambda s, client: step(s)


API: dict[tuple[str, str], Step] = {
    ("PATCH", "business"): just({"phone": "555 0100"}),
    ("POST", "members"): just(NEW),
    ("PATCH", "members/<str:ref>"): just({"role": "crew"}),
    ("DELETE", "members/<str:ref>"): just(),
    ("POST", "invitations"): just(NEW),
    ("POST", "keys"): just({"name": "desk", "scopes": ["jobs:read"]}),
    ("DELETE", "keys/<str:ref>"): just(),
    ("POST", "finishes"): just({"code": "inkstone", "name": "Inkstone"}),
    ("PATCH", "finishes/<str:ref>"): just({"name": "Another name"}),
    ("DELETE", "finishes/<str:ref>"): just(after=lambda s: spare(s, "finish")),
    ("POST", "components"): just({"sku": "cap-x", "name": "Cap", "role": "cap.square"}),
    ("PATCH", "components/<str:ref>"): just({"name": "Another label"}),
    ("DELETE", "components/<str:ref>"): just(after=lambda s: spare(s, "component")),
    ("POST", "suppliers"): just({"code": "north", "name": "Northmill"}),
    ("PATCH", "suppliers/<str:ref>"): just({"phone": "555 0101"}),
    ("DELETE", "suppliers/<str:ref>"): just(after=lambda s: spare(s, "supplier")),
    ("POST", "supplier-terms"): made(lambda s: {"valid_from": LATER, **_terms(s)}),
    ("PATCH", "supplier-terms/<str:ref>"): lambda s, c: _later(
        s, c, "terms", "supplier-terms", _terms(s), {"lead_time_days": 9}
    ),
    ("DELETE", "supplier-terms/<str:ref>"): lambda s, c: _later(s, c, "terms", "supplier-terms", _terms(s)),
    ("POST", "supplier-prices"): made(lambda s: {"valid_from": LATER, **_offer(s)}),
    ("PATCH", "supplier-prices/<str:ref>"): lambda s, c: _later(
        s, c, "offer", "supplier-prices", _offer(s), {"price": "1.26"}
    ),
    ("DELETE", "supplier-prices/<str:ref>"): lambda s, c: _later(s, c, "offer", "supplier-prices", _offer(s)),
    ("POST", "price-rules"): just({"valid_from": LATER, **HIRE}),
    ("PATCH", "price-rules/<str:ref>"): lambda s, c: _later(s, c, "price rule", "price-rules", HIRE, {"value": "91"}),
    ("DELETE", "price-rules/<str:ref>"): lambda s, c: _later(s, c, "price rule", "price-rules", HIRE),
    ("POST", "fence-systems"): made(lambda s: {**system_document(s), "code": "another-50"}),
    ("PUT", "fence-systems/<str:ref>"): made(lambda s: {**system_document(s), "label": "Another label"}),
    ("PATCH", "fence-systems/<str:ref>"): just({"active": False}, after=second_system),
    ("POST", "imports"): made(finishes_file),
    ("POST", "cutting-plans/<str:ref>/cancel"): just(),
    ("POST", "customers"): just({"name": "Cy Reed"}),
    ("PATCH", "customers/<str:ref>"): just({"phone": "555 0102"}),
    ("DELETE", "customers/<str:ref>"): just(),
    ("POST", "customers/<str:ref>/sites"): just({"address": "9 Reed Lane"}),
    ("PATCH", "customers/<str:ref>/sites/<str:site>"): just({"access_notes": "by the lane"}),
    ("POST", "jobs"): made(
        lambda s: {
            "customer": s.refs["customer"],
            "new_site_address": {"address": "9 Reed Lane"},
            "label": "Side fence",
        }
    ),
    ("PATCH", "jobs/<str:ref>"): just({"notes": "ring first"}),
    ("POST", "jobs/<str:ref>/status"): just({"status": "cancelled"}, after=_open),
    ("POST", "jobs/<str:ref>/copy"): just({}),
    ("POST", "jobs/<str:ref>/events"): just({"text": "rang"}),
    ("POST", "jobs/<str:ref>/measures"): just({"label": "Side"}),
    ("POST", "jobs/<str:ref>/as-built"): just({"kind": "changed", "note": "a post stands deeper"}),
    ("DELETE", "jobs/<str:ref>/as-built/<str:entry>"): just(),
    ("PUT", "measures/<str:ref>"): just(measure(9000)),
    ("POST", "measures/<str:ref>/draft/publish"): lambda s, c: _draft_entered(s, c),
    ("POST", "quotes"): lambda s, c: _to_quote(s),
    ("POST", "quotes/<str:ref>/revisions"): just({}),
    ("PUT", "revisions/<str:ref>"): just({"setup": {"site_visits": "2"}}, after=lambda s: s.draft()),
    ("DELETE", "revisions/<str:ref>"): lambda s, c: second_draft(s),
    ("POST", "revisions/<str:ref>/send"): just({}, after=lambda s: s.draft()),
    ("POST", "revisions/<str:ref>/parties/<str:key>/link"): just(after=linked),
    ("DELETE", "revisions/<str:ref>/parties/<str:key>/link"): just(after=linked),
    ("POST", "questions/<str:ref>/reply"): just({"text": "the street side"}),
    ("POST", "quote-links/<str:token>/accept"): made(_accepted),
    ("POST", "quote-links/<str:token>/decline"): just({"name": "Ada Quill"}, after=linked),
    ("POST", "quote-links/<str:token>/questions"): just({"text": "How long does it take?"}, after=linked),
    ("POST", "orders"): made(
        lambda s: {
            "supplier": orders.seller_of(s.business, orders.component_of(s.business, "rail")).code,
            "lines": [{"component": s.sku(), "quantity": "4", "price": "2.50"}],
        }
    ),
    ("POST", "orders/for-jobs"): made(lambda s: {"jobs": [s.refs["job"]]}),
    ("PATCH", "orders/<str:ref>"): just({"note": "by the lane"}, after=lambda s: s.order()),
    ("POST", "orders/<str:ref>/place"): just({"allow_below_minimum": True}, after=lambda s: s.order()),
    ("POST", "orders/<str:ref>/cancel"): just({"reason": "a mistake"}, after=lambda s: s.order()),
    ("POST", "orders/<str:ref>/cancel-lines"): just({"reason": "too many", "lines": [2]}, after=put_an_order),
    ("POST", "orders/<str:ref>/close"): lambda s, c: _all_received(s, c),
    ("POST", "orders/<str:ref>/decide-changes"): just({"lines": [{"line": 1, "accept": True}]}, after=_proposed),
    ("POST", "deliveries/<str:ref>/receipts"): made(lambda s: _received(s) if put_an_order(s) else None),
    ("POST", "orders/<str:ref>/returns"): _returned,
    ("POST", "stock"): made(lambda s: {"component": s.sku(), "quantity": "2", "reason": "counted"}),
    ("POST", "stock/<str:ref>/remove"): just({"quantity": "1", "reason": "sold"}),
    ("POST", "stock/<str:ref>/reservations"): made(lambda s: {"job": s.refs["job"], "quantity": "1"}),
    ("POST", "jobs/<str:ref>/returned-materials"): just(after=brought_back),
    ("PATCH", "reservations/<str:ref>"): just({"status": "released"}),
    ("POST", "suppliers/<str:ref>/keys"): just({"name": "till"}),
    ("DELETE", "suppliers/<str:ref>/keys/<str:api_key>"): just(),
    ("POST", "webhooks"): just({"url": "http://127.0.0.1:9/hook"}),
    ("PATCH", "webhooks/<str:ref>"): just({"event_types": ["order.placed"]}),
    ("DELETE", "webhooks/<str:ref>"): just(),
    ("POST", "webhooks/<str:ref>/rotate-secret"): just(),
    ("POST", "webhooks/<str:ref>/send-challenge"): just(),
    ("POST", "webhooks/<str:ref>/send-test"): just(),
    ("POST", "webhooks/<str:ref>/replay"): lambda s, c: {"after_event": _first_event(s)},
    ("POST", "accounting/period-locks"): just({"locked_through": "2024-01-31"}),
    ("POST", "supply/prices"): made(lambda s: _supplied(s)),
    ("PATCH", "supply/prices/<str:ref>"): lambda s, c: _later(
        s, c, "offer", "supply/prices", _supplied(s), {"price": "1.5"}
    ),
    ("POST", "supply/orders/<str:ref>/responses"): just({"number": "R7", "code": "AP"}),
    ("POST", "supply/orders/<str:ref>/despatches"): just({"number": "D7", "lines": [{"line": 1, "quantity": "1"}]}),
    ("POST", "supply/prices/bulk"): made(lambda s: {"prices": [_supplied(s)]}),
}
NOTHING_OF_A_BUSINESS = {
    ("POST", "cutting-plans"): "computes",
    ("POST", "take-offs"): "computes",
    ("POST", "orders/plan"): "computes",
    ("PUT", "measures/<str:ref>/draft"): "what is being typed; the version it becomes is recorded",
    ("POST", "supply/keys"): "a supplier's own, which is part of no business",
    ("DELETE", "supply/keys/<str:ref>"): "as above",
    ("POST", "supply/sandbox/orders"): "a make-believe business",
    ("POST", "supply/sandbox/reset"): "a make-believe business",
    **{
        (method, f"supply/webhooks{rest}"): "a supplier's own, which is part of no business"
        for method, rest in [
            ("POST", ""), ("PATCH", "/<str:ref>"), ("DELETE", "/<str:ref>"), ("POST", "/<str:ref>/rotate-secret"),
            ("POST", "/<str:ref>/send-challenge"), ("POST", "/<str:ref>/send-test"), ("POST", "/<str:ref>/replay"),
        ]
    },
}  # fmt: skip


def _supplied(s: Scene) -> dict[str, Any]:
    return {"business": s.business.ref, "component": s.sku(), "price": "1.25", "valid_from": LATER}


def _draft_entered(s: Scene, client: Client) -> Body:
    """Save a draft that can be published as the next version."""
    text = json.dumps(measure(8000))
    answer = client.put(
        f"/api/v1/measures/{s.refs['measure']}/draft", {"content": text}, "application/json", headers={"If-Match": "*"}
    )
    assert answer.status_code < 300, answer.content
    return None


def _to_quote(s: Scene) -> Body:
    job, _ = new_job(s.business)
    return {"job": job.ref, "measure": StoredMeasure.objects.of(s.business).get(job=job).ref}


def second_draft(s: Scene) -> Body:
    revision = revise(quote=sent(s.business).quote, actor=SYSTEM)
    s.refs["revision"] = revision.ref
    return None


def _first_event(s: Scene) -> str:
    first = OrderEvent.objects.of(s.business).order_by("id").first()
    assert first is not None
    return first.ref
