from __future__ import annotations

from django.apps import AppConfig


class IntegrationsConfig(AppConfig):
    name = "quotes.integrations"
    label = "integrations"
    default_auto_field = "django.db.models.BigAutoField"
