"""API addresses of this app, under /api/v1/."""

from __future__ import annotations

from django.urls import path

from quotes.purchasing import api, delivery_api, stock_api

urlpatterns = [
    path("orders", api.Orders.as_view()),
    path("orders/plan", api.OrderPlan.as_view()),
    path("orders/for-jobs", api.OrdersForJobs.as_view()),
    path("orders/<str:ref>", api.OrderDetail.as_view()),
    path("orders/<str:ref>/place", api.OrderPlace.as_view()),
    path("orders/<str:ref>/cancel", api.OrderCancel.as_view()),
    path("orders/<str:ref>/cancel-lines", api.OrderCancelLines.as_view()),
    path("orders/<str:ref>/close", api.OrderClose.as_view()),
    path("orders/<str:ref>/decide-changes", api.OrderDecideChanges.as_view()),
    path("orders/<str:ref>/returns", api.OrderReturns.as_view()),
    path("orders/<str:ref>/events", api.OrderEvents.as_view()),
    path("deliveries", delivery_api.Deliveries.as_view()),
    path("deliveries/<str:ref>", delivery_api.DeliveryDetail.as_view()),
    path("deliveries/<str:ref>/receipts", delivery_api.DeliveryReceipts.as_view()),
    path("jobs/<str:ref>/saw-sheet.pdf", api.SawSheet.as_view()),
    path("stock", stock_api.StockListView.as_view()),
    path("stock/<str:ref>", stock_api.StockDetail.as_view()),
    path("stock/<str:ref>/remove", stock_api.StockRemove.as_view()),
    path("stock/<str:ref>/movements", stock_api.StockMovements.as_view()),
    path("stock/<str:ref>/reservations", stock_api.StockReservations.as_view()),
    path("jobs/<str:ref>/returned-materials", stock_api.ReturnedMaterials.as_view()),
    path("reservations", stock_api.Reservations.as_view()),
    path("reservations/<str:ref>", stock_api.ReservationDetail.as_view()),
]
