"""Page addresses of this app."""

from __future__ import annotations

from django.urls import path

from quotes.exchange import webhook_pages

urlpatterns = [
    path("settings/webhooks", webhook_pages.hooks, name="webhooks"),
    path("settings/webhooks/<str:ref>", webhook_pages.hook, name="webhook"),
    path("settings/supplier-keys", webhook_pages.supplier_keys, name="supplier-keys"),
]
