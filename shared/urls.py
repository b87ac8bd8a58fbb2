"""Addresses of the service, from ``page_urls`` and ``api_urls`` of each app."""

from __future__ import annotations

from django.contrib import admin
from django.urls import include, path

from shared.api.error_handler import handler500 as handler500  # Django needs the handlers here
from shared.members.views import AdminSignIn
from shared.web import page_errors

handler400, handler403, handler404 = page_errors.bad_request, page_errors.forbidden, page_errors.not_found

APPS = (
    "shared",
    "quotes.integrations",  # before the catalogue: supply/prices/bulk is not the ref of a price
    "catalogue",
    "quotes.quoting",
    "quotes.documents",
    "quotes.purchasing",
    "quotes.accounting",
)

urlpatterns = [
    path("admin/login/", AdminSignIn.as_view()),  # before Django's own, which has no limits
    path("admin/", admin.site.urls),
    *(path("api/v1/", include(f"{app}.api_urls")) for app in (*APPS, "quotes.jobs")),
    *(path("", include(f"{app}.page_urls")) for app in (*APPS, "quotes.office")),
]
