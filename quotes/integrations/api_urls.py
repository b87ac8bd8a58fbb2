"""API addresses of this app, under /api/v1/."""

from __future__ import annotations

from django.urls import path

from quotes.integrations import order_api, supplier_api, supplier_keys_api
from quotes.integrations.webhook_api import DOORS, for_supplier

urlpatterns = [
    path("orders/<str:ref>/document.<str:form>", order_api.OrderFile.as_view()),
    path("orders/<str:ref>/replies/<str:reply>.xml", order_api.ReplyFile.as_view()),
    path("orders/<str:ref>/despatches/<str:despatch>.xml", order_api.DespatchFile.as_view()),
    path("suppliers/<str:ref>/keys", order_api.SupplierKeys.as_view()),
    path("suppliers/<str:ref>/keys/<str:api_key>", order_api.SupplierKeyDetail.as_view()),
    path("supply/keys", supplier_keys_api.SupplyKeys.as_view()),
    path("supply/keys/<str:ref>", supplier_keys_api.SupplyKeyDetail.as_view()),
    path("supply/orders", supplier_api.SupplyOrders.as_view()),
    path("supply/orders/<str:ref>.<str:form>", supplier_api.SupplyOrderFile.as_view()),
    path("supply/orders/<str:ref>", supplier_api.SupplyOrderDetail.as_view()),
    path("supply/orders/<str:ref>/replies", supplier_api.SupplyReplies.as_view()),
    path("supply/orders/<str:ref>/despatches", supplier_api.SupplyDespatches.as_view()),
    path("supply/orders/<str:ref>/replies/<str:reply>.xml", supplier_api.SupplyReplyFile.as_view()),
    path("supply/orders/<str:ref>/despatches/<str:despatch>.xml", supplier_api.SupplyDespatchFile.as_view()),
    path("supply/orders/<str:ref>/events", supplier_api.SupplyOrderEvents.as_view()),
    path("supply/events", supplier_api.SupplyEvents.as_view()),
    path("supply/offer-batches", supplier_api.SupplyOfferBatches.as_view()),
    path("supply/sandbox/orders", supplier_api.SandboxOrders.as_view()),
    path("supply/sandbox/reset", supplier_api.SandboxReset.as_view()),
    *(path(f"webhooks{address}", door.as_view()) for address, door in DOORS.items()),
    *(path(f"supply/webhooks{address}", for_supplier(door).as_view()) for address, door in DOORS.items()),
]
