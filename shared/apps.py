from __future__ import annotations

from typing import Any

from django.apps import AppConfig
from django.db.models.signals import post_migrate, pre_migrate


class SharedConfig(AppConfig):
    name = "shared"
    label = "shared"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        pre_migrate.connect(_before_migrations, dispatch_uid="shared.before_migrations")
        post_migrate.connect(_after_migrations, dispatch_uid="shared.after_migrations")


def _before_migrations(using: str = "default", **_: Any) -> None:
    # a migration that waits for a lock blocks all requests after it: it fails early and can be started again
    _wait_for_locks(using, "2s")


def _wait_for_locks(using: str, limit: str) -> None:
    from django.db import connections

    if connections[using].vendor == "postgresql":
        with connections[using].cursor() as cursor:
            cursor.execute("SELECT set_config('lock_timeout', %s, false)", [limit])


def _after_migrations(sender: AppConfig, plan: list[Any] | None = None, using: str = "default", **_: Any) -> None:
    # the signal is sent once for each app with models; after the last one every table exists
    from django.apps import apps

    from shared.business import business_foreign_keys
    from shared.database import audit_log

    last = [config for config in apps.get_app_configs() if config.models_module is not None][-1]
    if sender.label == last.label and using == "default":
        audit_log.install_audit_triggers()
        business_foreign_keys.add_business_foreign_keys()
        _wait_for_locks(using, "0")
