"""Page addresses of this app: orders, deliveries, stock."""

from __future__ import annotations

from django.urls import path

from quotes.purchasing import delivery_views, order_views, stock_views

urlpatterns = [
    path("orders", order_views.order_list, name="orders"),
    path("orders/<str:ref>", order_views.order, name="order"),
    path("deliveries", delivery_views.delivery_list, name="deliveries"),
    path("deliveries/<str:ref>", delivery_views.delivery, name="delivery"),
    path("jobs/<str:ref>/orders", order_views.job_orders, name="job-orders"),
    path("stock", stock_views.stock, name="stock"),
    path("stock/<str:ref>", stock_views.stock_item, name="stock-item"),
    path("reservations/<str:ref>", stock_views.reservation, name="reservation"),
]
