from __future__ import annotations

from importlib import import_module

from django.apps import AppConfig


class QuotingConfig(AppConfig):
    name = "quotes.quoting"

    def ready(self) -> None:
        """Connect the receivers of signals."""
        import_module("quotes.quoting.receivers")
