"""Page addresses of this app: the customer's side of a quote, and PDFs."""

from __future__ import annotations

from django.urls import path

from quotes.documents import crew_pages, pages, party_pages

urlpatterns = [
    path("q/<str:token>", party_pages.enter, name="enter-quote"),
    path("q/see/<slug:handle>", party_pages.party_quote, name="party-quote"),
    path("q/see/<slug:handle>/quote.pdf", party_pages.party_pdf, name="party-pdf"),
    path("q/see/<slug:handle>/acceptance.pdf", party_pages.party_record, name="party-record"),
    path("revisions/<str:ref>/preview/<str:key>.pdf", pages.preview, name="preview-pdf"),
    path("documents/<str:ref>.pdf", pages.kept_pdf, name="kept-pdf"),
    path("jobs/build-worker.js", crew_pages.worker, name="build-worker"),
    path("jobs/<str:ref>/build", crew_pages.build, name="job-build"),
    path("jobs/<str:ref>/build/ticks", crew_pages.build_ticks, name="build-ticks"),
    path("jobs/<str:ref>/build/record", crew_pages.build_record, name="build-record"),
]
