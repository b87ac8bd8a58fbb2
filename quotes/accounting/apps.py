from __future__ import annotations

from django.apps import AppConfig


class BooksConfig(AppConfig):
    name = "quotes.accounting"
    label = "books"
    default_auto_field = "django.db.models.BigAutoField"
