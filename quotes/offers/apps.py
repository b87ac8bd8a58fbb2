from __future__ import annotations

from django.apps import AppConfig


class OffersConfig(AppConfig):
    name = "quotes.offers"
    label = "offers"
    default_auto_field = "django.db.models.BigAutoField"
