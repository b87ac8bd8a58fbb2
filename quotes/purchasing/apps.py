from __future__ import annotations

from importlib import import_module

from django.apps import AppConfig


class PurchasingConfig(AppConfig):
    name = "quotes.purchasing"
    label = "purchasing"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        """Connect the receivers of signals."""
        import_module("quotes.purchasing.receivers")
