from __future__ import annotations

from django.apps import AppConfig


class CatalogueConfig(AppConfig):
    name = "catalogue"
    label = "catalogue"
    default_auto_field = "django.db.models.BigAutoField"
