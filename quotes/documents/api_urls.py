"""API addresses of this app, under /api/v1/."""

from __future__ import annotations

from django.urls import URLPattern, path

from quotes.documents.api import DocumentDetail, DocumentList, DocumentPdf

urlpatterns: list[URLPattern] = [
    path("documents", DocumentList.as_view()),
    path("documents/<str:ref>.pdf", DocumentPdf.as_view()),
    path("documents/<str:ref>", DocumentDetail.as_view()),
]
