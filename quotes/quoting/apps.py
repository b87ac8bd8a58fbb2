from __future__ import annotations

from importlib import import_module

from django.apps import AppConfig


class QuotingConfig(AppConfig):
    name = "quotes.quoting"
    label = "quoting"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        """Connect the receivers of signals."""
        import_module("quotes.quoting.receivers")
