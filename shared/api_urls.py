"""API addresses of the base package, below /api/v1/."""

from __future__ import annotations

from django.urls import path

from shared.api.audit_entries import AuditEntries
from shared.api.docs_views import OpenApiDocument
from shared.members import api

urlpatterns = [
    path("openapi.json", OpenApiDocument.as_view()),
    path("audit-entries", AuditEntries.as_view()),
    path("business", api.BusinessDetail.as_view()),
    path("members", api.Members.as_view()),
    path("members/<str:ref>", api.MemberDetail.as_view()),
    path("invitations", api.Invitations.as_view()),
    path("keys", api.Keys.as_view()),
    path("keys/<str:ref>", api.KeyDetail.as_view()),
]
