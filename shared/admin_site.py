"""Django's admin with the same repetition after a deadlock as pages and the API."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar, cast

from django.contrib.admin import AdminSite as DjangoAdminSite
from django.contrib.admin.apps import AdminConfig as DjangoAdminConfig
from django.http import HttpResponseBase

from shared.database.deadlocks import retry_deadlock

ViewT = TypeVar("ViewT", bound=Callable[..., HttpResponseBase])


class AdminSite(DjangoAdminSite):
    """Admin site that calls a view a second time if a deadlock ended its transaction."""

    def admin_view(self, view: ViewT, cacheable: bool = False) -> ViewT:
        """Return the view with Django's checks of access around it."""
        return cast("ViewT", super().admin_view(retry_deadlock(view), cacheable))


class AdminConfig(DjangoAdminConfig):
    """Django's admin app with our site."""

    default_site = "shared.admin_site.AdminSite"
