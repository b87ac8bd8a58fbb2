"""API addresses of this app, under /api/v1/."""

from __future__ import annotations

from django.urls import path

from quotes.accounting import api

urlpatterns = [
    path("books/ledger.<str:form>", api.Ledger.as_view()),
    path("books/totals.<str:form>", api.OrderTotalsReport.as_view()),
    path("books/quotes.<str:form>", api.Quoted.as_view()),
    path("books/margins.<str:form>", api.Margins.as_view()),
    path("books/locks", api.Locks.as_view()),
]
