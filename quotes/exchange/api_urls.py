"""API addresses of this app, under /api/v1/."""

from __future__ import annotations

from django.urls import path

from quotes.exchange import order_api, supply_api, supply_keys_api
from quotes.exchange.webhook_api import DOORS, for_supplier

urlpatterns = [
    path("orders/<str:ref>/document.<str:form>", order_api.OrderFile.as_view()),
    path("orders/<str:ref>/replies/<str:reply>.xml", order_api.ReplyFile.as_view()),
    path("orders/<str:ref>/despatches/<str:despatch>.xml", order_api.DespatchFile.as_view()),
    path("suppliers/<str:ref>/keys", order_api.SupplierKeys.as_view()),
    path("suppliers/<str:ref>/keys/<str:api_key>", order_api.SupplierKeyDetail.as_view()),
    path("supply/keys", supply_keys_api.SupplyKeys.as_view()),
    path("supply/keys/<str:ref>", supply_keys_api.SupplyKeyDetail.as_view()),
    path("supply/orders", supply_api.SupplyOrders.as_view()),
    path("supply/orders/<str:ref>.<str:form>", supply_api.SupplyOrderFile.as_view()),
    path("supply/orders/<str:ref>", supply_api.SupplyOrderDetail.as_view()),
    path("supply/orders/<str:ref>/replies", supply_api.SupplyReplies.as_view()),
    path("supply/orders/<str:ref>/despatches", supply_api.SupplyDespatches.as_view()),
    path("supply/orders/<str:ref>/replies/<str:reply>.xml", supply_api.SupplyReplyFile.as_view()),
    path("supply/orders/<str:ref>/despatches/<str:despatch>.xml", supply_api.SupplyDespatchFile.as_view()),
    path("supply/orders/<str:ref>/events", supply_api.SupplyOrderEvents.as_view()),
    path("supply/events", supply_api.SupplyEvents.as_view()),
    path("supply/offer-batches", supply_api.SupplyOfferBatches.as_view()),
    path("supply/sandbox/orders", supply_api.SandboxOrders.as_view()),
    path("supply/sandbox/reset", supply_api.SandboxReset.as_view()),
    *(path(f"webhooks{address}", door.as_view()) for address, door in DOORS.items()),
    *(path(f"supply/webhooks{address}", for_supplier(door).as_view()) for address, door in DOORS.items()),
]
