"""Celery application. Its only tasks are in ``shared/tasks.py``; the outbox stores what has to be done."""

from __future__ import annotations

import os
from functools import cache
from typing import Any

from celery import Celery
from celery.signals import beat_init, worker_init
from django.conf import settings
from kombu.pools import producers

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shared.settings")

app = Celery("baywright")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks(["shared"])

# a broker that hangs accepts connections and never responds: a worker may wait for it, a request must not
_PATIENCE = {"socket_connect_timeout": 0.5, "socket_timeout": 0.5, "max_retries": 0}


@cache
def message_producers() -> Any:
    """Return the producers that send messages. They wait at most half a second for the broker."""
    return producers[app.connection_for_write(transport_options=_PATIENCE)]


@worker_init.connect
@beat_init.connect
def reject_generated_key(**_: object) -> None:
    """End the process if its secret key is generated: it would e-mail links that the web service cannot read."""
    if not settings.MAY_SERVE:
        # end the process, because Celery only logs exceptions of signal handlers
        raise SystemExit(
            "Set BAYWRIGHT_SECRET_KEY, the same for worker and web, or BAYWRIGHT_DEMO=1 for a demonstration."
        )


@worker_init.connect
def load_handlers(**_: object) -> None:
    """Import all handlers before the pool is forked, so that its processes share them."""
    from shared.background.outbox import load_task_modules  # its models need Django to be set up

    load_task_modules()
