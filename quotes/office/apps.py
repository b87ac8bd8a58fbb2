from __future__ import annotations

from django.apps import AppConfig


class OfficeConfig(AppConfig):
    name = "quotes.office"
    label = "office"
    default_auto_field = "django.db.models.BigAutoField"
