"""The Celery application. Its only tasks are in ``shared/tasks.py``: what has to be done is in the outbox."""

from __future__ import annotations

import os

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shared.settings")

app = Celery("baywright")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks(["shared"])
