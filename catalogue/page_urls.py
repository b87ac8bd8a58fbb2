"""Page addresses of this app: prices."""

from __future__ import annotations

from django.urls import path

from catalogue import pages

urlpatterns = [
    path("prices", pages.prices, name="prices"),
    path("prices/take-in", pages.take_in, name="take-in"),
    path("prices/systems/<str:ref>", pages.system, name="fence-system"),
    path("prices/sheets/<slug:kind>.<slug:form>", pages.sheet_file, name="prices-sheet"),
    path("prices/<slug:name>", pages.resource_list, name="prices-list"),
    path("prices/<slug:name>/new", pages.resource_row, name="prices-new"),
    path("prices/<slug:name>/<str:ref>", pages.resource_row, name="prices-row"),
]
