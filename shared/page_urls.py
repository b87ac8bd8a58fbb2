"""Page addresses of the kernel: signing in and out, health, and the API's documentation."""

from __future__ import annotations

from django.contrib.auth.views import LogoutView
from django.urls import path

from shared import health, reference
from shared.business import pages

urlpatterns = [
    path("sign-in", pages.SignIn.as_view(), name="sign-in"),
    path("sign-out", LogoutView.as_view(), name="sign-out"),
    path("businesses/<str:ref>/choose", pages.choose_business, name="choose-business"),
    path("healthz", health.healthz, name="healthz"),
    path("readyz", health.readyz, name="readyz"),
    path("api/docs/", reference.index, name="api-docs"),
    path("api/docs/problems/<slug:code>", reference.problem, name="api-problem"),
]
