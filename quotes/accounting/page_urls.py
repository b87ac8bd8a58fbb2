"""Page addresses of this app: books."""

from __future__ import annotations

from django.urls import path

from quotes.accounting import views

urlpatterns = [
    path("accounting", views.accounting, name="accounting"),
    path("settings/accounts", views.accounts, name="accounts"),
]
