from __future__ import annotations

from importlib import import_module

from django.apps import AppConfig


class OffersConfig(AppConfig):
    name = "quotes.offers"
    label = "offers"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        """Registers what says which open quotes new prices touch."""
        import_module("quotes.offers.price_effect")
