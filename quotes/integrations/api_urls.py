"""API addresses of this app, under /api/v1/."""

from __future__ import annotations

from django.urls import path

from quotes.integrations import supplier_api, supplier_keys_api
from quotes.integrations.messages import MESSAGES
from quotes.integrations.order_files import OrderFile, file_of_message
from quotes.integrations.webhook_api import ADDRESSES, for_supplier
from quotes.purchasing.api import OwnOrder
from shared.business.roles import Scope

MESSAGE_ADDRESSES = [
    address
    for message in MESSAGES
    for document in [f"{message.path}/<str:{message.name}_ref>.xml"]
    for address in (
        path(f"orders/<str:ref>/{document}", file_of_message(message, OwnOrder, Scope.ORDERS_READ).as_view()),
        path(f"supply/orders/<str:ref>/{message.path}", supplier_api.supply_messages(message).as_view()),
        path(
            f"supply/orders/<str:ref>/{document}",
            file_of_message(message, supplier_api.SupplyEndpoint, Scope.SUPPLY_READ).as_view(),
        ),
    )
]
urlpatterns = [
    path("orders/<str:ref>/document.<str:format>", OrderFile.as_view()),
    path("suppliers/<str:ref>/keys", supplier_keys_api.SupplierKeys.as_view()),
    path("suppliers/<str:ref>/keys/<str:api_key>", supplier_keys_api.SupplierKeyDetail.as_view()),
    path("supply/keys", supplier_keys_api.SupplyKeys.as_view()),
    path("supply/keys/<str:ref>", supplier_keys_api.SupplyKeyDetail.as_view()),
    path("supply/orders", supplier_api.SupplyOrders.as_view()),
    path("supply/orders/<str:ref>.<str:format>", supplier_api.SupplyOrderFile.as_view()),
    path("supply/orders/<str:ref>", supplier_api.SupplyOrderDetail.as_view()),
    path("supply/orders/<str:ref>/events", supplier_api.SupplyOrderEvents.as_view()),
    path("supply/events", supplier_api.SupplyEvents.as_view()),
    path("supply/prices/bulk", supplier_api.SupplyPricesBulk.as_view()),
    path("supply/sandbox/orders", supplier_api.SandboxOrders.as_view()),
    path("supply/sandbox/reset", supplier_api.SandboxReset.as_view()),
    *MESSAGE_ADDRESSES,
    *(path(f"webhooks{address}", endpoint.as_view()) for address, endpoint in ADDRESSES.items()),
    *(path(f"supply/webhooks{address}", for_supplier(endpoint).as_view()) for address, endpoint in ADDRESSES.items()),
]
