"""API addresses of this app, under /api/v1/."""

from __future__ import annotations

from django.urls import path

from quotes.accounting import api

urlpatterns = [
    path("accounting/ledger.<str:format>", api.Ledger.as_view()),
    path("accounting/order-totals.<str:format>", api.OrderTotalsReport.as_view()),
    path("accounting/quotes-and-acceptances.<str:format>", api.QuotesAndAcceptances.as_view()),
    path("accounting/margins.<str:format>", api.Margins.as_view()),
    path("accounting/period-locks", api.PeriodLocks.as_view()),
]
