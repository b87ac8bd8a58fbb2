"""Addresses of pages: signing in and out, settings, health checks and the API documentation."""

from __future__ import annotations

from django.contrib.auth.views import LogoutView
from django.urls import path

from shared.api import docs_views
from shared.members import settings_views, views
from shared.web import health

urlpatterns = [
    path("sign-in", views.SignIn.as_view(), name="sign-in"),
    path("sign-out", LogoutView.as_view(), name="sign-out"),
    path("welcome/<str:uidb64>/<str:token>", views.Welcome.as_view(), name="welcome"),
    path("businesses/<str:ref>/choose", views.choose_business, name="choose-business"),
    path("settings", settings_views.face, name="settings"),
    path("settings/test-mail", settings_views.test_mail, name="test-mail"),
    path("settings/members", settings_views.members, name="members"),
    path("settings/members/<str:ref>", settings_views.member, name="member"),
    path("settings/keys", settings_views.keys, name="keys"),
    path("settings/keys/<str:ref>", settings_views.key, name="key"),
    path("healthz", health.healthz, name="healthz"),
    path("readyz", health.readyz, name="readyz"),
    path("api/docs/", docs_views.index, name="api-docs"),
    path("api/docs/problems/<slug:code>", docs_views.problem, name="api-problem"),
]
