from __future__ import annotations

from django.apps import AppConfig


class AccountingConfig(AppConfig):
    name = "quotes.accounting"
    label = "accounting"
    default_auto_field = "django.db.models.BigAutoField"
