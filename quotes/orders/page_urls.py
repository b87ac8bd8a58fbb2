"""Page addresses of this app: orders, deliveries, stock."""

from __future__ import annotations

from django.urls import path

from quotes.orders import delivery_pages, pages, stock_pages

urlpatterns = [
    path("orders", pages.order_list, name="orders"),
    path("orders/<str:ref>", pages.order, name="order"),
    path("deliveries", delivery_pages.delivery_list, name="deliveries"),
    path("deliveries/<str:ref>", delivery_pages.delivery, name="delivery"),
    path("jobs/<str:ref>/orders", pages.job_orders, name="job-orders"),
    path("stock", stock_pages.stock, name="stock"),
    path("stock/<str:ref>", stock_pages.stock_item, name="stock-item"),
    path("holds/<str:ref>", stock_pages.hold, name="hold"),
]
