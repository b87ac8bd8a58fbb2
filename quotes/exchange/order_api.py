"""A business's own orders as files, and keys for its suppliers' systems."""

from __future__ import annotations

from typing import Any

from django.db import transaction
from django.http import HttpResponse
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from catalogue.models import Supplier
from catalogue.queries import suppliers
from quotes.exchange.forms import FILE_SHAPES, answered
from quotes.exchange.sandbox import open_sandbox
from quotes.jobs.rows import shape
from quotes.orders.queries import orders
from quotes.orders.rows import ORDER_FULL_SHAPE, order_full
from shared import audit
from shared.api import Endpoint
from shared.business.roles import SUPPLIER_SCOPES, Scope
from shared.business.services import issue_key
from shared.models import SupplierAccount
from shared.problems import Problem
from shared.reading import StrictSerializer, TextField


class OrderFile(Endpoint):
    """An order as a file: xml (UBL 2.1), csv, pdf or json."""

    scopes = {"GET": Scope.ORDERS_READ}

    @extend_schema(responses={(200, "application/json"): ORDER_FULL_SHAPE, **FILE_SHAPES}, summary="An order as a file")
    def get(self, request: Request, ref: str, form: str) -> Response | HttpResponse:
        order = self.find(orders(self.business).select_related("supplier", "business"), ref)
        return self.one(order_full(order), order) if form == "json" else answered(order, form)


class SupplierKeyIn(StrictSerializer):
    """``test``: a key of the sandbox, that never sees a real order."""

    name = TextField(max_length=120)
    test = serializers.BooleanField(required=False)


class SupplierKeys(Endpoint):
    """Lets a supplier's system in: its account is opened at the first key. The key is shown this once.

    Only the business that opened the account issues keys for it, so nobody gets into what a supplier shares with others.
    """

    scopes = {"POST": Scope.KEYS_WRITE}
    idempotent = frozenset({"POST"})

    @extend_schema(
        request=SupplierKeyIn, responses={201: shape(("ref", "name", "key", "account"))}, summary="A supplier's key"
    )
    def post(self, request: Request, ref: str) -> Response:
        body = self.read(SupplierKeyIn)
        supplier = self.find(suppliers(self.business).select_related("account"), ref)
        live = not body.get("test", False)
        key, text = _key(supplier, body["name"], live=live)
        detail: dict[str, Any] = {"key": key.ref, "live": live}
        audit.record(self.business, self.actor, "supplier.key", f"supplier:{supplier.ref}", detail)
        account = supplier.account.ref if supplier.account else ""
        return Response({"ref": key.ref, "name": key.name, "key": text, "account": account}, status=201)


@transaction.atomic
def _key(supplier: Supplier, name: str, *, live: bool) -> Any:
    account = supplier.account
    if account is None:
        account = supplier.account = SupplierAccount.objects.create(name=supplier.name, email=supplier.email)
        supplier.save()
    elif _shared(account, supplier):
        raise Problem("conflict", "This supplier's system serves other businesses too; it issues its own keys.")
    if not live:
        open_sandbox(account)
    return issue_key(name=name, scopes=SUPPLIER_SCOPES, supplier_account=account, live=live)


def _shared(account: SupplierAccount, supplier: Supplier) -> bool:
    others = Supplier.anywhere.filter(account=account)  # unscoped: only whether there are others is asked
    return others.exclude(business_id=supplier.business_id).filter(business__sandbox=None).exists()
