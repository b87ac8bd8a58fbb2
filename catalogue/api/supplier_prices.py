"""A supplier's own prices, packs and lead times in every business it serves. It sees no other supplier's."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from catalogue import queries, services
from catalogue.api.api_fields import SUPPLIER_OWN_PRICE, row_serializer, shape
from catalogue.api.resources import AS_OF, day
from catalogue.api.serializers import SupplierOwnPriceIn
from catalogue.models import Supplier, SupplierPrice
from fencing.model.faults import Fault, InvalidDocument
from shared.api.endpoint import Endpoint
from shared.api.openapi import page_of
from shared.business.roles import Scope
from shared.common.problems import Problem
from shared.models import SupplierAccount

_SCHEMA, _PRICES = shape(SUPPLIER_OWN_PRICE), row_serializer(SUPPLIER_OWN_PRICE)


class _SupplyEndpoint(Endpoint):
    @property
    def account(self) -> SupplierAccount:
        """Return the supplier's records in the business."""
        if self.actor.supplier_account is None:
            raise Problem("forbidden", "This address is for suppliers' keys.")
        return self.actor.supplier_account

    def _prices(self) -> QuerySet[SupplierPrice]:
        return queries.offers_of(self.account, test=self.actor.test)

    def _data(self, offer: SupplierPrice) -> dict[str, Any]:
        return _PRICES.of(offer)


class SupplierOwnPrices(_SupplyEndpoint):
    """Prices of the supplier."""

    scopes = {"GET": Scope.SUPPLY_PRICES_READ, "POST": Scope.SUPPLY_PRICES_WRITE}
    paged = True
    parameters = {
        "business": "Only prices for this business, by ref.",
        "component": "Only this component, by sku.",
        "as_of": AS_OF,
    }

    @extend_schema(responses={200: page_of(_SCHEMA)}, summary="List own prices")
    def get(self, request: Request) -> Response:
        asked = request.query_params
        rows, on = self._prices(), day(asked.dict(), "as_of")
        rows = queries.offers_on(rows, on) if on else rows
        by = {"business": "business__ref", "component": "component__sku"}
        rows = rows.filter(**{column: asked[name] for name, column in by.items() if name in asked})
        return self.page(rows, _PRICES)

    @extend_schema(request=SupplierOwnPriceIn, responses={201: _SCHEMA}, summary="Create a price")
    def post(self, request: Request) -> Response:
        values = self.validated_data(SupplierOwnPriceIn)
        supplier = self._supplier(values.pop("business"))
        component = queries.components(supplier.business).filter(sku=values.pop("component")).first()
        if component is None:
            raise InvalidDocument([Fault("/component", "unknown", "This business has no such component.")])
        offer = SupplierPrice(business=supplier.business, supplier=supplier, component=component)
        stored = services.add_dated(offer, actor=self.actor, values=values)
        return self.created(self._data(stored), stored)

    def _supplier(self, business_ref: str) -> Supplier:
        found = (
            queries.suppliers_of(self.account, test=self.actor.test)
            .select_related("business")
            .filter(business__ref=business_ref, business__suspended_at=None)
            .first()
        )
        if found is None:
            raise InvalidDocument([Fault("/business", "unknown", "You serve no such business.")])
        return found


class SupplierOwnPriceDetail(_SupplyEndpoint):
    """One price of the supplier. It can be ended, and changed before it begins."""

    scopes = {"GET": Scope.SUPPLY_PRICES_READ, "PATCH": Scope.SUPPLY_PRICES_WRITE}

    @extend_schema(responses={200: _SCHEMA}, summary="Get a price")
    def get(self, request: Request, ref: str) -> Response:
        offer = self.find(self._prices(), ref)
        return self.one(self._data(offer), offer)

    @extend_schema(
        request=SupplierOwnPriceIn(partial=True),
        responses={200: _SCHEMA},
        summary="End a price or change a future one",
    )
    def patch(self, request: Request, ref: str) -> Response:
        offer = self.get_for_update(self._prices().filter(business__suspended_at=None), ref)
        values = self.validated_data(SupplierOwnPriceIn, partial=True)
        fixed = [name for name in ("business", "component") if name in values]
        if fixed:
            raise InvalidDocument(
                Fault(f"/{name}", "fixed", "This cannot be changed. Create a new price.") for name in fixed
            )
        offer = services.change_dated(offer, actor=self.actor, values=values)
        return self.one(self._data(offer), offer)
