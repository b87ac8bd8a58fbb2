"""A business's own orders as files, and keys for its suppliers' systems."""

from __future__ import annotations

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from catalogue.queries import suppliers
from quotes.exchange.letting_in import let_in
from quotes.exchange.order_files import FileOfDespatch, FileOfOrder, FileOfReply
from quotes.jobs.rows import shape
from quotes.orders.api import OwnOrder
from shared.api import Endpoint
from shared.business.roles import Scope
from shared.reading import StrictSerializer, TextField


class OrderFile(OwnOrder, FileOfOrder):
    """An order as a file: xml (UBL 2.1), csv, xlsx, pdf or json."""

    scopes = {"GET": Scope.ORDERS_READ}


class ReplyFile(OwnOrder, FileOfReply):
    """What a supplier replied, as a UBL 2.1 OrderResponse."""

    scopes = {"GET": Scope.ORDERS_READ}


class DespatchFile(OwnOrder, FileOfDespatch):
    """What a supplier despatched, as a UBL 2.1 DespatchAdvice."""

    scopes = {"GET": Scope.ORDERS_READ}


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
        key, text = let_in(supplier=supplier, name=body["name"], live=live, actor=self.actor)
        account = supplier.account.ref if supplier.account else ""
        return Response({"ref": key.ref, "name": key.name, "key": text, "account": account}, status=201)
