"""API addresses of the kernel, under /api/v1/."""

from __future__ import annotations

from django.urls import path

from shared.audit_api import AuditEntries
from shared.business import api
from shared.reference import OpenApiDocument

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
