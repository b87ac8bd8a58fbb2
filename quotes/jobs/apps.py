from __future__ import annotations

from django.apps import AppConfig


class JobsConfig(AppConfig):
    name = "quotes.jobs"
    label = "jobs"
    default_auto_field = "django.db.models.BigAutoField"
