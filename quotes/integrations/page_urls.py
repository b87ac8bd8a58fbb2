"""Page addresses of this app."""

from __future__ import annotations

from django.urls import path

from quotes.integrations import webhook_views

urlpatterns = [
    path("settings/webhooks", webhook_views.hooks, name="webhooks"),
    path("settings/webhooks/<str:ref>", webhook_views.hook, name="webhook"),
    path("settings/supplier-keys", webhook_views.supplier_keys, name="supplier-keys"),
]
