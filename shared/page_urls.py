"""Page addresses of the kernel: signing in and out, settings, health, and the API's documentation."""

from __future__ import annotations

from django.contrib.auth.views import LogoutView
from django.urls import path

from shared import health, reference
from shared.business import pages, settings_pages

urlpatterns = [
    path("sign-in", pages.SignIn.as_view(), name="sign-in"),
    path("sign-out", LogoutView.as_view(), name="sign-out"),
    path("welcome/<str:uidb64>/<str:token>", pages.Welcome.as_view(), name="welcome"),
    path("businesses/<str:ref>/choose", pages.choose_business, name="choose-business"),
    path("settings", settings_pages.face, name="settings"),
    path("settings/test-mail", settings_pages.test_mail, name="test-mail"),
    path("settings/members", settings_pages.members, name="members"),
    path("settings/members/<str:ref>", settings_pages.member, name="member"),
    path("settings/keys", settings_pages.keys, name="keys"),
    path("settings/keys/<str:ref>", settings_pages.key, name="key"),
    path("healthz", health.healthz, name="healthz"),
    path("readyz", health.readyz, name="readyz"),
    path("api/docs/", reference.index, name="api-docs"),
    path("api/docs/problems/<slug:code>", reference.problem, name="api-problem"),
]
