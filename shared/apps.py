from __future__ import annotations

from django.apps import AppConfig


class SharedConfig(AppConfig):
    name = "shared"
    label = "shared"
    default_auto_field = "django.db.models.BigAutoField"
