"""Page addresses of this app: prices."""

from __future__ import annotations

from django.urls import path

from catalogue.views import imports, price_lists, systems

urlpatterns = [
    path("prices", price_lists.prices, name="prices"),
    path("prices/import", imports.import_file, name="import-file"),
    path("prices/systems/new", systems.new_system, name="new-fence-system"),
    path("prices/systems/<str:ref>", systems.system, name="fence-system"),
    path("prices/sheets/<slug:kind>.<slug:form>", imports.sheet_file, name="prices-sheet"),
    path("prices/<slug:name>", price_lists.resource_list, name="prices-list"),
    path("prices/<slug:name>/new", price_lists.resource_row, name="prices-new"),
    path("prices/<slug:name>/<str:ref>", price_lists.resource_row, name="prices-row"),
]
