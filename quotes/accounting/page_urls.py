"""Page addresses of this app: books."""

from __future__ import annotations

from django.urls import path

from quotes.accounting import account_views, views

urlpatterns = [
    path("accounting", views.accounting, name="accounting"),
    path("settings/accounts", account_views.accounts, name="accounts"),
]
