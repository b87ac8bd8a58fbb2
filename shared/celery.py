"""The Celery application: every job takes an id, calls one service and is safe to run twice."""

from __future__ import annotations

import os

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shared.settings")

app = Celery("baywright")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()
