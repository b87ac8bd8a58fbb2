"""API addresses of this app, under /api/v1/."""

from __future__ import annotations

from django.urls import path

from quotes.purchasing import api, delivery_api, saw_sheet_api, stock_api

urlpatterns = [
    path("orders", api.Orders.as_view()),
    path("orders/plan", api.OrderPlan.as_view()),
    path("orders/for-jobs", api.OrdersForJobs.as_view()),
    path("orders/<str:ref>", api.OrderDetail.as_view()),
    path("orders/<str:ref>/placing", api.OrderPlacing.as_view()),
    path("orders/<str:ref>/cancelling", api.OrderCancelling.as_view()),
    path("orders/<str:ref>/shortening", api.OrderShortening.as_view()),
    path("orders/<str:ref>/closing", api.OrderClosing.as_view()),
    path("orders/<str:ref>/decisions", api.OrderDecisions.as_view()),
    path("orders/<str:ref>/returns", api.OrderReturns.as_view()),
    path("orders/<str:ref>/events", api.OrderEvents.as_view()),
    path("deliveries", delivery_api.Deliveries.as_view()),
    path("deliveries/<str:ref>", delivery_api.DeliveryDetail.as_view()),
    path("deliveries/<str:ref>/receipts", delivery_api.DeliveryReceipts.as_view()),
    path("jobs/<str:ref>/saw-sheet.pdf", saw_sheet_api.SawSheet.as_view()),
    path("stock", stock_api.StockListView.as_view()),
    path("stock/<str:ref>", stock_api.StockDetail.as_view()),
    path("stock/<str:ref>/taking", stock_api.StockTaking.as_view()),
    path("stock/<str:ref>/moves", stock_api.StockMoves.as_view()),
    path("stock/<str:ref>/holds", stock_api.StockHolds.as_view()),
    path("jobs/<str:ref>/leftovers", stock_api.Leftovers.as_view()),
    path("holds", stock_api.Holds.as_view()),
    path("holds/<str:ref>", stock_api.HoldDetail.as_view()),
]
