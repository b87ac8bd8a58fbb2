"""Page addresses of this app: prices."""

from __future__ import annotations

from django.urls import path

from catalogue import pages, system_pages, take_in_pages

urlpatterns = [
    path("prices", pages.prices, name="prices"),
    path("prices/take-in", take_in_pages.take_in, name="take-in"),
    path("prices/systems/new", system_pages.new_system, name="new-fence-system"),
    path("prices/systems/<str:ref>", system_pages.system, name="fence-system"),
    path("prices/sheets/<slug:kind>.<slug:form>", take_in_pages.sheet_file, name="prices-sheet"),
    path("prices/<slug:name>", pages.resource_list, name="prices-list"),
    path("prices/<slug:name>/new", pages.resource_row, name="prices-new"),
    path("prices/<slug:name>/<str:ref>", pages.resource_row, name="prices-row"),
]
