from __future__ import annotations

from django.apps import AppConfig


class DocumentsConfig(AppConfig):
    name = "quotes.documents"
    label = "documents"
    default_auto_field = "django.db.models.BigAutoField"
