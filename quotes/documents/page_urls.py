"""Page addresses of this app: customer page, build page and PDFs."""

from __future__ import annotations

from django.urls import path

from quotes.documents import crew_views, customer_views, views

urlpatterns = [
    path("q/<str:token>", customer_views.enter, name="enter-quote"),
    path("q/view/<slug:handle>", customer_views.party_quote, name="party-quote"),
    path("q/view/<slug:handle>/quote.pdf", customer_views.party_pdf, name="party-pdf"),
    path("q/view/<slug:handle>/acceptance.pdf", customer_views.party_record, name="party-record"),
    path("revisions/<str:ref>/preview/<str:key>.pdf", views.preview, name="preview-pdf"),
    path("documents/<str:ref>.pdf", views.kept_pdf, name="kept-pdf"),
    path("jobs/<str:ref>/build", crew_views.build, name="job-build"),
    path("jobs/<str:ref>/build/ticks", crew_views.build_ticks, name="build-ticks"),
    path("jobs/<str:ref>/build/record", crew_views.build_record, name="build-record"),
]
