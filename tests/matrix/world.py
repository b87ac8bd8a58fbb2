"""One thing of every kind in a business, made by the services themselves."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from catalogue.models import (
    AskedPlan,
    Component,
    FenceSystem,
    Finish,
    Import,
    PriceRule,
    Supplier,
    SupplierPrice,
    SupplierTerms,
)
from quotes.documents.kinds.cut_list import CUT_LIST
from quotes.documents.models import Document
from quotes.integrations.models import WebhookEndpoint
from quotes.integrations.webhook_http import new_secret
from quotes.jobs.as_built import record_built
from quotes.jobs.models import StoredMeasure
from quotes.purchasing import stock_services
from quotes.purchasing.deliveries import DespatchData, DespatchLineData, despatch
from quotes.purchasing.models import OrderResponse, SupplierOrder
from quotes.purchasing.order_responses import OrderResponseData, record_response
from quotes.quoting.customer_responses import ask
from shared.business.actors import SYSTEM
from shared.business.roles import BUSINESS_SCOPES, SUPPLIER_SCOPES
from shared.members import services
from shared.models import Business, SupplierAccount
from tests.quotes.purchasing.cast import agreed_job, component_of, placed, supplier_actor
from tests.quotes.quoting.cast import actor_of, stock_up, token
from tests.quotes.quoting.cast import sent as sent_revision


@dataclass(frozen=True, slots=True)
class World:
    """Refs by kind (see ``addresses.HOLDERS``), and values of further parameters by name."""

    refs: dict[str, str]
    inner: dict[str, str]
    token: str


def world_of(business: Business, account: SupplierAccount) -> World:
    """Stocks a business and makes one of everything; its orders go to ``account``."""
    stock_up(business)
    rows = _trade(business, account) | _catalogue(business)
    revision = sent_revision(business)
    job, actor = agreed_job(business), actor_of(business)
    question = ask(token=token(revision, "neighbour"), text="Which side is the good side?")
    built = record_built(job=job, kind="changed", actor=actor, note="a post by the gate stands deeper")
    item = stock_services.add_stock(
        component=component_of(business, "rail"), quantity=Decimal(8), actor=actor, reason="counted"
    )
    reservation = stock_services.reserve_item(item=item, job=job, quantity=Decimal(2), actor=actor)
    document = Document.objects.of(business).filter(revision=revision).first()
    document = document or Document.objects.of(business).create(revision=revision, kind=CUT_LIST.code)
    measure = StoredMeasure.objects.of(business).filter(job=job).first()
    assert measure is not None
    suppliers_key, _ = services.issue_key(name="till", scopes=SUPPLIER_SCOPES, supplier_account=account, actor=SYSTEM)
    refs = {
        **rows,
        "suppliers key": suppliers_key.ref,
        "customer": job.customer.ref,
        "document": document.ref,
        "reservation": reservation.ref,
        "job": job.ref,
        "measure": measure.ref,
        "question": question.ref,
        "quote": revision.quote.ref,
        "revision": revision.ref,
        "stock item": item.ref,
    }
    inner = {"site": job.site.ref, "entry": built.ref, "key": "owner", "number": "1", "kind": "components"}
    inner |= {**_traffic(business, account), "format": "csv", "api_key": suppliers_key.ref}
    return World(refs, inner, token(revision, "owner"))


def _traffic(business: Business, account: SupplierAccount) -> dict[str, str]:
    """Acknowledge the order as the supplier, and despatch a piece of it."""
    order, them = SupplierOrder.objects.of(business).get(), supplier_actor(account)
    record_response(order=order, response=OrderResponseData("R1", "AB"), actor=them)
    _, docket, _ = despatch(order=order, docket=DespatchData("D1", (DespatchLineData(1, Decimal(1)),)), actor=them)
    return {"response_ref": OrderResponse.objects.of(business).get(order=order).ref, "despatch_ref": docket.ref}


def _catalogue(business: Business) -> dict[str, str]:
    key, _ = services.issue_key(name="till", scopes=BUSINESS_SCOPES, business=business, actor=SYSTEM)
    member = business.members.order_by("id").last()
    upload = Import.objects.of(business).create(kind="supplier_prices", file_name="x.csv", content=b"x")
    plan = AskedPlan.objects.of(business).create(demand={}, seconds=5)
    found = {
        kind: model.objects.of(business).order_by("id").first()
        for kind, model in {
            "component": Component,
            "fence system": FenceSystem,
            "finish": Finish,
            "price rule": PriceRule,
            "terms": SupplierTerms,
        }.items()
    }
    rows = {"key": key, "member": member, "import": upload, "cutplan": plan, **found}
    return {kind: row.ref for kind, row in rows.items() if row is not None}


def _trade(business: Business, account: SupplierAccount) -> dict[str, str]:
    order = placed(business, account=account)
    supplier = Supplier.objects.of(business).get(pk=order.supplier_id)
    offer = SupplierPrice.objects.of(business).filter(supplier=supplier).first()
    assert offer is not None
    hooks = {
        "hook": WebhookEndpoint.objects.create(
            business=business, url="https://hooks.example.test/a", secrets=[{"key": new_secret()}]
        ),
        "suppliers hook": WebhookEndpoint.objects.create(
            account=account, url="https://hooks.example.test/b", secrets=[{"key": new_secret()}]
        ),
    }
    return {"order": order.ref, "supplier": supplier.ref, "offer": offer.ref} | {k: h.ref for k, h in hooks.items()}
