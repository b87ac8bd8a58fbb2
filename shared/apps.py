"""Base app with its steps around migrations, and Django's admin with the same repetition after a deadlock as other pages."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar, cast

from django.apps import AppConfig
from django.contrib import admin
from django.contrib.admin import apps as admin_apps
from django.db.models.signals import post_migrate, pre_migrate
from django.http import HttpResponseBase

from shared.database.errors import retry_deadlock

ViewT = TypeVar("ViewT", bound=Callable[..., HttpResponseBase])


class SharedConfig(AppConfig):
    name = "shared"
    default = True

    def ready(self) -> None:
        pre_migrate.connect(fail_early_on_locks, dispatch_uid="shared.before_migrations")
        post_migrate.connect(install_database_rules, dispatch_uid="shared.after_migrations")


def fail_early_on_locks(using: str = "default", **_: Any) -> None:
    # a migration that waits for a lock blocks all requests after it: it fails early and can be started again
    _wait_for_locks(using, "2s")


def _wait_for_locks(using: str, limit: str) -> None:
    from django.db import connections

    if connections[using].vendor == "postgresql":
        with connections[using].cursor() as cursor:
            cursor.execute("SELECT set_config('lock_timeout', %s, false)", [limit])


def install_database_rules(sender: AppConfig, plan: list[Any] | None = None, using: str = "default", **_: Any) -> None:
    # the signal is sent once for each app with models; after the last one every table exists
    from django.apps import apps

    from shared.business.business_owned import add_business_foreign_keys
    from shared.database import audit_log

    last = [config for config in apps.get_app_configs() if config.models_module is not None][-1]
    if sender.label == last.label and using == "default":
        audit_log.install_audit_triggers()
        add_business_foreign_keys()
        _wait_for_locks(using, "0")


class AdminSite(admin.AdminSite):
    """Admin site that calls a view a second time if a deadlock ended its transaction."""

    def admin_view(self, view: ViewT, cacheable: bool = False) -> ViewT:
        """Return the view with Django's checks of access around it."""
        return cast("ViewT", super().admin_view(retry_deadlock(view), cacheable))


class AdminConfig(admin_apps.AdminConfig):
    """Django's admin app with our site."""

    default = False  # of the two apps in this module, ``shared`` means the other one
    default_site = "shared.apps.AdminSite"
