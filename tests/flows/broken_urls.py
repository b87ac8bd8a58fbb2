"""An address that fails by a mistake of ours."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.urls import path


def broken(request: HttpRequest) -> HttpResponse:
    """Raise an error."""
    raise RuntimeError("secret detail")


urlpatterns = [path("api/v1/broken", broken)]
