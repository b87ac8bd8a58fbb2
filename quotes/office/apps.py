from __future__ import annotations

from django.apps import AppConfig


class DeskConfig(AppConfig):
    name = "quotes.office"
    label = "desk"
    default_auto_field = "django.db.models.BigAutoField"
